package parsers

import (
	"encoding/binary"
	"time"
	"unicode"
	"unicode/utf8"
)

// Noise that comes soon after the port was opened or the board started is nothing to
// worry about: chips' own loaders print at speeds of their own. It is told by field
// FieldAt (from experience, no source).
const (
	FieldAt      = "at" // "start" of noise at a beginning
	startBytes   = 400
	startSeconds = 2
)

var noiseAtStart = &told{fields: fields{{FieldAt, "start"}}}

// A beginning is where the port was opened, or where the board started.
type beginning struct {
	offset int64
	at     time.Time
}

// covers reports whether an event comes soon after the beginning.
func (b beginning) covers(e *Event) bool {
	if e.Offset-b.offset < startBytes {
		return true
	}
	return !e.First.IsZero() && !b.at.IsZero() && e.First.Sub(b.at).Seconds() < startSeconds
}

// noiseBelow is the share of readable bytes below which a line that no wording
// matches is noise. Text has a share near 1; what a wrong speed or a board's first
// start-up messages at another speed leave mostly lies well below (from experience,
// no source).
const noiseBelow = 0.7

// Readable is the share of bytes that are text: printable, a tab, or part of a
// printable character in UTF-8. It is 1 for no bytes. U+FFFD counts as unreadable:
// it is what some program left of a byte that was no text.
func Readable(b []byte) float64 {
	if plainText(b) {
		return 1
	}
	n := 0
	for rest := b; len(rest) > 0; {
		r, size := utf8.DecodeRune(rest)
		if r != utf8.RuneError && (r == '\t' || unicode.IsPrint(r)) {
			n += size
		}
		rest = rest[size:]
	}
	return float64(n) / float64(len(b))
}

// plainText reports whether there are printable ASCII characters and tabs only, as
// nearly all lines have.
func plainText(b []byte) bool {
	// Eight bytes at a time: none with its highest bit, none below a blank, no 0x7F.
	for len(b) >= 8 {
		w := binary.LittleEndian.Uint64(b)
		if (w|(w-eachByte*' ')|(w+eachByte))&highBits != 0 {
			break
		}
		b = b[8:]
	}
	for _, c := range b {
		if (c < ' ' || c > '~') && c != '\t' {
			return false
		}
	}
	return true
}

// lastJunk is the position behind the last byte that is no text, 0 when all is.
func lastJunk(b []byte) int {
	if plainText(b) {
		return 0
	}
	at := 0
	for i := 0; i < len(b); {
		r, size := utf8.DecodeRune(b[i:])
		i += size
		if r == utf8.RuneError || (r != '\t' && !unicode.IsPrint(r)) {
			at = i
		}
	}
	return at
}

// isNoise reports whether a line is mostly bytes that are no text.
func isNoise(b []byte) bool { return Readable(b) < noiseBelow }

// junk reports whether any byte is no text, in what stands before a start text.
func junk(b []byte) bool { return Readable(b) < 1 }
