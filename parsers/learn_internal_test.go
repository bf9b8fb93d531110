package parsers

import (
	"bytes"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// variedLines are known lines and those of a night, each many times over with other
// digits, as a console repeats itself.
func variedLines(t *testing.T) []byte {
	t.Helper()
	r := rand.New(rand.NewPCG(12, 3))
	lines := append(knownLines(t), bytes.Split(night(20_000, 9), []byte("\r\n"))...)
	var text []byte
	for _, line := range lines {
		for range 1 + r.IntN(4) {
			for _, c := range line {
				if isDigit(c) && r.IntN(3) > 0 {
					c = byte('0' + r.IntN(10))
				}
				text = append(text, c)
			}
			text = append(text, '\n')
		}
	}
	return text
}

// A learner that remembers lines learns what one that takes each apart does.
func TestLinesAreLearnedAlikeOverAndOver(t *testing.T) {
	var remembers, takesApart Learner
	lines := 0
	s := NewStream()
	for range 2 {
		s.Feed(variedLines(t), time.Time{}, func(e Event) {
			remembers.Take(e)
			if e.Kind == KindUnknown && len(e.Raw) > 0 && len(e.Raw) <= learnWithin && plainText(e.Raw) {
				lines++
				is, _ := takesApart.place(&e)
				is.count(e.Raw)
			}
		})
	}
	if diff := cmp.Diff(takesApart.Shapes(), remembers.Shapes()); diff != "" {
		t.Errorf("(-each taken apart +remembered):\n%.2000s", diff)
	}
	if lines < 20_000 {
		t.Errorf("only %d lines", lines)
	}
}

// Text in which each line is a shape of its own takes no more room than some, and what
// comes often among it is kept and counted; not a line is forgotten in the sum.
func TestALearnerKeepsWhatComesOften(t *testing.T) {
	var l Learner
	r := rand.New(rand.NewPCG(7, 7))
	s := NewStream()
	lines, often := 0, 0
	var line []byte
	for range 20 * learnerShapes {
		line = line[:0]
		for range 12 {
			line = append(line, byte('a'+r.IntN(26)))
		}
		if r.IntN(20) == 0 {
			line = append(line[:0], "lamp fades over "...)
			line = append(line, byte('0'+r.IntN(10)))
			often++
		}
		lines++
		s.Feed(append(line, '\n'), time.Time{}, l.Take)
		if len(l.shapes) > learnerShapes {
			t.Fatalf("%d shapes kept", len(l.shapes))
		}
	}
	s.Flush(l.Take)
	kept := 0
	shapes := l.Shapes()
	for _, shape := range shapes {
		kept += shape.Count
	}
	if kept+l.Rare() != lines || l.Rare() == 0 {
		t.Errorf("%d lines kept and %d given up, of %d", kept, l.Rare(), lines)
	}
	if shapes[0].Says != "lamp fades over {_:dec}" || shapes[0].Count != often {
		t.Errorf("first shape %q, %d times; want the lamp, %d times", shapes[0].Says, shapes[0].Count, often)
	}
}

func FuzzLinesThatComeApartAlike(f *testing.F) {
	f.Add([]byte("12 tag 092,010,145,227 at 10.0.0.7, 255 001 010 099 x"), uint64(1))
	f.Fuzz(func(t *testing.T, line []byte, seed uint64) {
		parts, alike := partsOf(string(line))
		if !alike {
			return
		}
		r := rand.New(rand.NewPCG(seed, 1))
		other := bytes.Clone(line)
		for i, c := range other {
			if isDigit(c) {
				other[i] = byte('0' + r.IntN(10))
			}
		}
		again, _ := partsOf(string(other))
		if len(again) != len(parts) {
			t.Fatalf("%q: %v; %q: %v", line, parts, other, again)
		}
		for i := range parts {
			if len(parts[i].text) != len(again[i].text) || parts[i].typ != again[i].typ {
				t.Errorf("%q: %v; %q: %v", line, parts, other, again)
			}
		}
	})
}
