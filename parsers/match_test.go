package parsers

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
)

// BenchmarkMatch is the automaton alone on lines that match, for profiles of 10,
// 100 and 1000 lines, beside bytes.Contains for a text that is not there.
func BenchmarkMatch(b *testing.B) {
	line := []byte("station 7 stored 5C 0A 91 E3 for bay 7")
	b.Run("baseline", func(b *testing.B) {
		b.SetBytes(int64(len(line)))
		for b.Loop() {
			if bytes.Contains(line, []byte("bay 8")) {
				b.Fatal("found")
			}
		}
	})
	for _, n := range []int{10, 100, 1000} {
		var t strings.Builder
		t.WriteString("name = \"many\"\n")
		for i := range n {
			fmt.Fprintf(&t, "[[line]]\nkind = \"card-added\"\nsays = \"station %d stored {uid} for bay %d\"\n", i, i)
		}
		p, err := LoadProfile("many.toml", strings.NewReader(t.String()))
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("lines=%d", n), func(b *testing.B) {
			b.SetBytes(int64(len(line)))
			for b.Loop() {
				if p.match.match(line) == nil {
					b.Fatal("no match")
				}
			}
			b.ReportMetric(float64(len(p.match.accept)), "states")
		})
	}
}
