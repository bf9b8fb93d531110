package parsers

import (
	"encoding/binary"
	"hash/maphash"
	"math/bits"
)

// A line's sum is a hash by which memos find it. It is another one each time that the
// program runs, so that no text can be made whose lines meet in one place. It is of
// eight bytes at a time, multiplied and rotated; what few bits it may mix less well than
// a longer one costs a look, for whoever finds a line by it compares the text.
type sum uint64

// Odd, so that multiplying by them loses nothing: the golden ratio's fraction and the
// square root of two's, in 64 bits.
const (
	sumStep = 0x9E3779B97F4A7C15
	sumLast = 0x6A09E667F3BCC909
)

var sumSeed = sum(maphash.String(maphash.MakeSeed(), ""))

func (s sum) with(w uint64) sum {
	return sum(bits.RotateLeft64((uint64(s)^w)*sumStep, 29))
}

// of ends a sum of n bytes.
func (s sum) of(n int) sum {
	h := (uint64(s) ^ uint64(n)) * sumLast
	return sum(h ^ h>>32)
}

// sumOf is a line's sum.
func sumOf(raw []byte) sum {
	s, rest := sumSeed, raw
	for ; len(rest) >= 8; rest = rest[8:] {
		s = s.with(binary.LittleEndian.Uint64(rest))
	}
	if len(rest) > 0 {
		s = s.with(lastWord(rest))
	}
	return s.of(len(raw))
}

// lastWord are fewer than eight bytes as a number.
func lastWord(b []byte) (w uint64) {
	for i, c := range b {
		w |= uint64(c) << (8 * i)
	}
	return w
}

// Eight bytes at once.
const (
	eachByte = 0x0101010101010101
	highBits = 0x8080808080808080
)

// printable is how many printable ASCII characters stand first, and their sum; ok is
// false where the text ends too soon to tell.
func printable(b []byte) (n int, s sum, ok bool) {
	s = sumSeed
	for ; len(b)-n >= 8; n += 8 {
		w := binary.LittleEndian.Uint64(b[n:])
		// The lowest byte with its highest bit set here is the first that is below a
		// blank, above a tilde or no ASCII; bytes behind it may have theirs for nothing.
		other := (w | (w - eachByte*' ') | (w + eachByte)) & highBits
		if other == 0 {
			s = s.with(w)
			continue
		}
		if k := bits.TrailingZeros64(other) &^ 7; k > 0 {
			s = s.with(w & (1<<k - 1))
			n += k / 8
		}
		return n, s.of(n), true
	}
	return 0, 0, false
}

// digitsAlike puts a line of plain text with each decimal digit as a 0 into to, and
// returns it with its sum.
func digitsAlike(to, line []byte) ([]byte, sum) {
	to = append(to[:0], line...)
	s, rest := sumSeed, to
	for ; len(rest) >= 8; rest = rest[8:] {
		w := binary.LittleEndian.Uint64(rest)
		// A digit less '0' is below ten: adding 0x76 leaves its highest bit clear.
		digits := ^((w ^ eachByte*'0') + eachByte*0x76) & highBits
		w &^= digits >> 7 * 0x0F
		binary.LittleEndian.PutUint64(rest, w)
		s = s.with(w)
	}
	for i, c := range rest {
		if isDigit(c) {
			rest[i] = '0'
		}
	}
	if len(rest) > 0 {
		s = s.with(lastWord(rest))
	}
	return to, s.of(len(to))
}
