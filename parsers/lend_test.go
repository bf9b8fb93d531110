package parsers_test

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"propwright/parsers"
)

// lent is what a stream makes of a text that it is lent in pieces, of up to so many
// bytes, all in the same place. The events are copied with what they hold as they come.
func lent(text []byte, most int, seed uint64, profiles ...*parsers.Profile) (events []parsers.Event, fields []map[string]string) {
	r := rand.New(rand.NewPCG(seed, 11))
	s := parsers.NewStream(profiles...)
	room := make([]byte, most)
	take := func(e *parsers.Event) {
		own := *e
		own.Raw = bytes.Clone(e.Raw)
		events, fields = append(events, own), append(fields, e.Fields())
	}
	for rest := text; len(rest) > 0; {
		n := min(len(rest), 1+r.IntN(most))
		copy(room, rest[:n])
		s.Lend(room[:n], time.Time{}, take)
		for i := range room {
			room[i] = "tag 5C0A91E3\r\n"[i%14] // whoever looks at it later sees another tag
		}
		rest = rest[n:]
	}
	s.Flush(func(e parsers.Event) { take(&e) })
	return events, fields
}

func compareLent(t *testing.T, text []byte, most int, seed uint64, profiles ...*parsers.Profile) {
	t.Helper()
	want := streamEvents(t, text, profiles...)
	got, fields := lent(text, most, seed, profiles...)
	mustGiveBack(t, text, got)
	if len(got) != len(want) {
		t.Fatalf("%d events, want %d", len(got), len(want))
	}
	for i, e := range got {
		if !e.Equal(want[i]) {
			t.Errorf("pieces up to %d: event %d is %v, want %v", most, i, e, want[i])
		}
		if uid := fields[i]["uid"]; uid != want[i].Field("uid") {
			t.Errorf("pieces up to %d: event %d named %q, want %q", most, i, uid, want[i].Field("uid"))
		}
	}
}

// A text that is lent comes to the same events as one that is copied, whatever becomes
// of the place where it lay.
func TestTextThatIsLentIsReadAsAnyIs(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "testdata", "captures", "*"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	var all []byte
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			continue // a folder
		}
		all = slices.Concat(all, text, []byte("\nTAG:5C0A91E3\nAccess granted\n"))
	}
	for i, most := range []int{1, 7, 80, 5000, 16 << 10} {
		compareLent(t, all, most, uint64(i), auto(t)...)
		compareLent(t, bytes.ReplaceAll(all, []byte("\n"), []byte("\r\n")), most, uint64(i), auto(t)...)
	}
}

func FuzzTextThatIsLentIsReadAsAnyIs(f *testing.F) {
	f.Add([]byte("TAG:5C0A91E3\r\nAccess granted\r\n\xFFets boot\n\r\tx\r"), uint16(9))
	f.Add([]byte("Card UID:\n5C 0A 91 E3\n\n\n"), uint16(3))
	f.Fuzz(func(t *testing.T, text []byte, most uint16) {
		compareLent(t, text, int(most)+1, 5, auto(t)...)
	})
}
