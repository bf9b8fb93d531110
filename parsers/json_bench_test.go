package parsers

import (
	"testing"
	"time"
)

// BenchmarkNightJSON writes the events of a console of a night as JSON Lines, beside
// reading them alone.
func BenchmarkNightJSON(b *testing.B) {
	profiles, err := Auto()
	if err != nil {
		b.Fatal(err)
	}
	text := night(1<<20, 1)
	var events []Event
	NewStream(profiles...).Feed(text, time.Time{}, func(e Event) { events = append(events, e) })
	b.Run("baseline-read", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			NewStream(profiles...).Feed(text, time.Time{}, func(e Event) {})
		}
	})
	var out []byte
	b.Run("encoder", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(text)))
		var c EventEncoder
		for b.Loop() {
			out = out[:0]
			for i := range events {
				if out, err = c.Append(out, &events[i]); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
	b.Run("append", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			out = out[:0]
			for _, e := range events {
				if out, err = e.AppendJSON(out); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}
