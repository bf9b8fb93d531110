package serialmon

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// How much of what was heard is looked at, and from which score on it counts as
// text. The figures come from trials with a bit-level model of a serial receiver
// at the wrong speed: from 0.93 on, a wrong speed was accepted in 24 of 37,256
// samples of 256 bytes, all of them at a speed 8.5 % off, and a right one refused
// in 56 of 2,016.
const (
	scoreDrop   = 16  // bytes after a change of speed that tell nothing
	scoreNewest = 256 // bytes looked at: the newest, since a start often begins with noise
	scoreLeast  = 64  // fewer tell nothing
	scoreAccept = 0.93
	cleanLeast  = 4 // characters of a line that counts as a clean one
)

// A sample is what a stretch of console looks like.
type sample struct {
	bytes int     // looked at
	zeros int     // of these, zero bytes
	signs int     // blanks, figures and such, of the whole lines
	score float64 // 0 to 1: half readable bytes, a quarter common ones, a quarter clean lines
	clean int     // complete lines of which every byte is readable
}

func (s sample) accepted() bool {
	return s.bytes >= scoreLeast && s.score >= scoreAccept && s.clean >= 1
}

// judgeNewest looks at the newest bytes of what was heard since a change of speed.
func judgeNewest(heard []byte, newest int) sample {
	if len(heard) <= scoreDrop {
		return sample{}
	}
	b := heard[scoreDrop:]
	b = b[max(0, len(b)-newest):]
	s := sample{bytes: len(b), zeros: bytes.Count(b, []byte{0})}
	whole := wholeLines(b)
	if len(whole) == 0 {
		whole = b
	}
	var readable, common int
	for rest := whole; len(rest) > 0; {
		n, ok := readableAt(rest)
		if ok {
			readable += n
			if n > 1 || isCommon(rest[0]) {
				common += n
			}
			if c := rest[0]; ' ' <= c && c < '@' {
				s.signs++
			}
		}
		rest = rest[n:]
	}
	lines, clean := 0, 0
	for line := range bytes.FieldsFuncSeq(whole, isLineEnd) {
		lines++
		if isClean(line) {
			clean++
		}
	}
	if lines > 0 && len(wholeLines(b)) > 0 {
		s.clean = clean
		s.score = 0.25 * float64(clean) / float64(lines)
	}
	s.score += (0.5*float64(readable) + 0.25*float64(common)) / float64(len(whole))
	return s
}

// wholeLines cuts off what comes before the first line end and after the last: a
// sample that begins between CR and LF must not look like one of mixed ends.
func wholeLines(b []byte) []byte {
	first := bytes.IndexFunc(b, isLineEnd)
	last := bytes.LastIndexFunc(b, isLineEnd)
	if first < 0 {
		return nil
	}
	return bytes.TrimLeftFunc(b[first:last+1], isLineEnd)
}

func isLineEnd(r rune) bool { return r == '\r' || r == '\n' }

func isClean(line []byte) bool {
	if len(line) < cleanLeast {
		return false
	}
	for len(line) > 0 {
		n, ok := readableAt(line)
		if !ok {
			return false
		}
		line = line[n:]
	}
	return true
}

// readableAt looks at the character at the start of b, which is not empty: how
// many bytes it has and whether a person could read it.
func readableAt(b []byte) (n int, ok bool) {
	if c := b[0]; c < utf8.RuneSelf {
		return 1, c >= ' ' && c < 0x7F || c == '\t' || c == '\r' || c == '\n' || c == 0x1B
	}
	r, n := utf8.DecodeRune(b)
	return n, r != utf8.RuneError
}

// isCommon reports whether consoles use the character all the time. Bits out of
// step make the others as often as these.
func isCommon(c byte) bool {
	switch {
	case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9':
		return true
	}
	return strings.IndexByte(" \t\r\n.,:;-_=+/()[]{}<>\"'#%*!?@", c) >= 0
}
