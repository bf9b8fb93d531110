package parsers

import (
	"bytes"
	"math/rand/v2"
	"testing"
)

// Eight bytes at a time find what byte by byte is found: where printable text ends, and
// each digit. The sum is that of the same text as a whole.
func TestLinesAreSummedAlike(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	for range 100_000 {
		line := make([]byte, r.IntN(40))
		for i := range line {
			line[i] = byte(' ' + r.IntN(0x5F))
		}
		zeros, sum := digitsAlike(nil, line)
		want := bytes.Map(func(c rune) rune {
			if '0' <= c && c <= '9' {
				return '0'
			}
			return c
		}, line)
		if !bytes.Equal(zeros, want) || sum != sumOf(want) {
			t.Fatalf("%q: %q, sum %x; want %q, %x", line, zeros, sum, want, sumOf(want))
		}
		text := append(bytes.Clone(line), []byte{'\r', '\n', '\t', 0, 0x1F, 0x7F, 0x80, 0xFF}[r.IntN(8)])
		for range 8 {
			text = append(text, byte(r.IntN(256)))
		}
		if n, sum, ok := printable(text); n != len(line) || sum != sumOf(line) || !ok {
			t.Fatalf("%q: %d bytes, sum %x, %v; want %d, %x", text, n, sum, ok, len(line), sumOf(line))
		}
	}
}

// What a line holds that says it would hold the same with other digits: it does.
func TestLinesThatHoldTheSameWithAnyDigits(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	lines := knownLines(t)
	for line := range bytes.SplitSeq(night(200_000, 6), []byte("\r\n")) {
		lines = append(lines, line)
	}
	same := 0
	for _, line := range lines {
		if !plainText(line) {
			continue
		}
		is, alike := holdsAlike(line)
		if !alike {
			continue
		}
		for _, digits := range []string{"0", "1", "01", "0123456789", "25"} {
			other := bytes.Clone(line)
			for i, c := range other {
				if isDigit(c) {
					other[i] = digits[r.IntN(len(digits))]
				}
			}
			has, still := holdsAlike(other)
			if !(&Event{told: &is}).Equal(Event{told: &has}) || !still {
				t.Fatalf("%q holds %v, %q holds %v", line, is, other, has)
			}
		}
		if len(is.fields) > 0 {
			same++
		}
	}
	if same < 300 {
		t.Errorf("only %d lines hold something whatever their digits", same)
	}
}

func FuzzLinesThatHoldTheSameWithAnyDigits(f *testing.F) {
	f.Add([]byte("version 0x92, 255.255.0.0, coil 17 = 1"), uint64(3))
	f.Fuzz(func(t *testing.T, line []byte, seed uint64) {
		is, alike := holdsAlike(line)
		if !alike || !plainText(line) {
			return
		}
		r := rand.New(rand.NewPCG(seed, 1))
		other := bytes.Clone(line)
		for i, c := range other {
			if isDigit(c) {
				other[i] = byte('0' + r.IntN(10))
			}
		}
		if has, _ := holdsAlike(other); !(&Event{told: &is}).Equal(Event{told: &has}) {
			t.Errorf("%q holds %v, %q holds %v", line, is, other, has)
		}
	})
}
