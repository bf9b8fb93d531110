package parsers

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"
)

// readNight counts the events of a console that is lent as the events command lends a
// file's.
func readNight(text []byte, profiles []*Profile) (known, unknown int) {
	s := NewStream(profiles...)
	count := func(e *Event) {
		if e.Kind == KindUnknown {
			unknown++
		} else {
			known++
		}
	}
	for rest := text; len(rest) > 0; {
		n := min(len(rest), 16<<10)
		s.Lend(rest[:n], time.Time{}, count)
		rest = rest[n:]
	}
	s.Flush(func(e Event) { count(&e) })
	return known, unknown
}

// BenchmarkNight reads a console of a night into events, beside a reader that asks
// each wording's expression in turn (the library's engine).
func BenchmarkNight(b *testing.B) {
	profiles, err := Auto()
	if err != nil {
		b.Fatal(err)
	}
	text := night(8<<20, 1)
	b.Run("baseline-expressions-in-turn", func(b *testing.B) {
		var all []*regexp.Regexp
		for _, p := range profiles {
			for _, pat := range p.patterns {
				all = append(all, pat.full())
			}
		}
		text := text[:64<<10]
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			found := 0
			for line := range bytes.Lines(text) {
				line = bytes.TrimRight(line, "\r\n")
				for _, re := range all {
					if re.Match(line) {
						found++
						break
					}
				}
			}
			if found == 0 {
				b.Fatal("nothing found")
			}
		}
	})
	b.Run("events", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			known, unknown := readNight(text, profiles)
			b.ReportMetric(float64(unknown)/float64(known+unknown), "unknown-share")
			b.ReportMetric(float64(known+unknown), "lines")
		}
	})
}

// BenchmarkProfileSize reads the same console with profiles of 20 and of 200 lines,
// among them lines that begin alike and lines that begin with a placeholder.
func BenchmarkProfileSize(b *testing.B) {
	text := night(4<<20, 2)
	for _, n := range []int{20, 200} {
		var t strings.Builder
		t.WriteString("name = \"sized\"\n")
		line := func(kind, says string) { fmt.Fprintf(&t, "[[line]]\nkind = %q\nsays = %q\n", kind, says) }
		line("tag-present", "tag {uid} on the reader")
		line("tag-absent", "tag {uid} gone")
		line("card-accepted", "card {uid} accepted")
		line("card-refused", "card {uid} refused")
		for i := 4; i < n; i++ {
			switch i % 4 {
			case 0:
				line("card-added", fmt.Sprintf("card {uid} is in drawer %d", i))
			case 1:
				line("coil-written", fmt.Sprintf("coil {coil:dec} drives the lamp of station %d", i))
			case 2:
				line("board-fault", fmt.Sprintf("{text:word} %d is out of order", i))
			case 3:
				line("reader-error", fmt.Sprintf("{_:dec} times station %d failed: {text:rest}", i))
			}
		}
		p, err := LoadProfile("sized.toml", strings.NewReader(t.String()))
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("lines=%d", n), func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				if known, _ := readNight(text, []*Profile{p}); known == 0 {
					b.Fatal("nothing known")
				}
			}
		})
	}
}
