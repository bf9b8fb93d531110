package parsers

import (
	"bytes"
	"testing"
)

// BenchmarkTolerant is the look over one unknown line, beside a search for a text
// that is not in it.
func BenchmarkTolerant(b *testing.B) {
	line := []byte("00006520 [TAG] ON AE:ED:4F:6C SAK 08")
	b.Run("baseline", func(b *testing.B) {
		b.SetBytes(int64(len(line)))
		for b.Loop() {
			if bytes.Contains(line, []byte("SAK 09")) {
				b.Fatal("found")
			}
		}
	})
	b.Run("look", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(line)))
		for b.Loop() {
			if is := holds(line); is.fields.get(FieldGuess) != string(KindTagPresent) {
				b.Fatal(is)
			}
		}
	})
}
