package parsers_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

// loaded are the built-in wordings, loaded once for all tests.
var loaded = sync.OnceValues(parsers.Auto)

func auto(t testing.TB) []*parsers.Profile {
	t.Helper()
	ps, err := loaded()
	if err != nil {
		t.Fatal(err)
	}
	return ps
}

func builtin(t testing.TB, name string) *parsers.Profile {
	t.Helper()
	for _, p := range auto(t) {
		if p.Name() == name {
			return p
		}
	}
	t.Fatalf("no built-in wording %q", name)
	return nil
}

func readCapture(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "testdata", "captures", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// streamEvents is what a whole text says; it fails unless raw and end give the
// text back and the numbers follow each other.
func streamEvents(t testing.TB, text []byte, profiles ...*parsers.Profile) []parsers.Event {
	t.Helper()
	var events []parsers.Event
	s := parsers.NewStream(profiles...)
	emit := func(e parsers.Event) { events = append(events, e) }
	s.Feed(text, time.Time{}, emit)
	s.Flush(emit)
	mustGiveBack(t, text, events)
	return events
}

func mustGiveBack(t testing.TB, text []byte, events []parsers.Event) {
	t.Helper()
	var back []byte
	for i, e := range events {
		if e.Seq != uint64(i+1) || e.Offset != int64(len(back)) || e.Kind == "" {
			t.Fatalf("event %d at %d: %+v", i+1, len(back), e)
		}
		back = append(back, e.Raw...)
		if e.End != parsers.EndCut {
			back = append(back, e.End...)
		}
	}
	if !bytes.Equal(back, text) {
		t.Fatalf("the events give %d bytes back, of %d", len(back), len(text))
	}
}

// said is an event in one line, for comparing: kind, reader, and fields in order.
func said(e parsers.Event) string {
	var b strings.Builder
	b.WriteString(string(e.Kind))
	if e.Reader != parsers.NoReader {
		fmt.Fprintf(&b, " reader=%d", e.Reader)
	}
	for _, name := range []string{"name", "value", "cause", "version", "meaning", "result", "text", "uid", "address", "ip", "mask", "gateway", "mac", "coil", "problem"} {
		if v, ok := e.Fields()[name]; ok {
			fmt.Fprintf(&b, " %s=%s", name, v)
		}
	}
	return b.String()
}

func allSaid(events []parsers.Event) []string {
	var lines []string
	for _, e := range events {
		lines = append(lines, said(e))
	}
	return lines
}

// R4: however the bytes are cut into pieces, the events are the same.
func TestEverythingComesBackFromEveryCapture(t *testing.T) {
	names, err := filepath.Glob(filepath.Join("..", "testdata", "captures", "*.log"))
	if err != nil || len(names) < 20 {
		t.Fatalf("%d captures, %v", len(names), err)
	}
	ps := auto(t)
	for _, name := range names {
		text := readCapture(t, filepath.Base(name))
		whole := streamEvents(t, text, ps...)
		var bytewise []parsers.Event
		s := parsers.NewStream(ps...)
		emit := func(e parsers.Event) { bytewise = append(bytewise, e) }
		for i := range text {
			s.Feed(text[i:i+1], time.Time{}, emit)
		}
		s.Flush(emit)
		if diff := cmp.Diff(whole, bytewise); diff != "" {
			t.Errorf("%s byte by byte (-whole +bytewise):\n%.2000s", name, diff)
		}
	}
}

// Architecture: a fragment, or bytes that are no text, and then the start text
// without a line end between: the start must not be missed.
func TestStartBehindJunk(t *testing.T) {
	tests := map[string]struct {
		in   string
		want []string
	}{
		"raw bytes":            {"\xff\x80\x00---- start ----\r\n", []string{"noise", "boot"}},
		"fragment and junk":    {"card 5C 0A\xef\xbf\xbd---- start ----\r\n", []string{"noise", "boot"}},
		"fragment alone":       {"card 5C 0A---- start ----\r\n", []string{"unknown", "boot"}},
		"junk, then a version": {"WARN\xff reader chip version 0x92\r\n", []string{"noise", "reader-version version=0x92"}},
		"junk before a card":   {"\xff\xffcard 5C 0A 91 E3 added\r\n", []string{"unknown uid=5C0A91E3"}},
		"clean":                {"  ----  START ----\r\n", []string{"boot"}},
	}
	p := builtin(t, parsers.WordingPlain)
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			events := streamEvents(t, []byte(tt.in), p)
			if diff := cmp.Diff(tt.want, allSaid(events)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
			for _, e := range events {
				if e.Lines != [2]int{1, 1} {
					t.Errorf("%s is on lines %v; want 1", e.Kind, e.Lines)
				}
			}
		})
	}
}

func TestNoiseIsNotUnknownText(t *testing.T) {
	text := "\x00\xe0\x1c\xfc`\x00\xe0\xfc\x1c\x82l\x0c\x8c\xf2\x9cr\r\nhallo\r\n\r\nna\xc3\xafve caf\xc3\xa9\r\n"
	want := []string{"noise", "unknown", "unknown", "unknown"}
	if diff := cmp.Diff(want, allSaid(streamEvents(t, []byte(text), auto(t)...))); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestUnknownTextKeepsWhatItHolds(t *testing.T) {
	text := "[TAG] ON AF:A6:06:D4 SAK 08\nmy own is 02-5E-E7-E9-3E-72 at 10.27.11.62\n12345678 ticks\n"
	want := []string{"unknown uid=AFA606D4", "unknown ip=10.27.11.62 mac=02:5E:E7:E9:3E:72", "unknown"}
	if diff := cmp.Diff(want, allSaid(streamEvents(t, []byte(text), auto(t)...))); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestMarkCutsTheLineUnderWay(t *testing.T) {
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	var got []parsers.Event
	s := parsers.StreamAt(parsers.Position{Offset: 10, Seq: 4, Line: 2}, builtin(t, parsers.WordingPlain))
	emit := func(e parsers.Event) { got = append(got, e) }
	s.Feed([]byte("network li"), at, emit)
	s.Mark(parsers.KindDetached, at.Add(time.Second), map[string]string{"why": "gone"}, emit)
	s.Feed([]byte("network link up\r\n"), at.Add(2*time.Second), emit)
	want := []parsers.Event{
		{Seq: 5, First: at, Last: at, Kind: parsers.KindUnknown, Reader: parsers.NoReader, Lines: [2]int{3, 3}, Offset: 10, Raw: []byte("network li"), End: parsers.EndCut},
		{Seq: 6, First: at.Add(time.Second), Last: at.Add(time.Second), Kind: parsers.KindDetached, Reader: parsers.NoReader, Offset: 20},
		{Seq: 7, First: at.Add(2 * time.Second), Last: at.Add(2 * time.Second), Kind: parsers.KindLinkUp, Reader: parsers.NoReader, Lines: [2]int{4, 4}, Offset: 20, Raw: []byte("network link up"), End: "\r\n", Profile: "plain"},
	}
	want[1] = want[1].Holding(map[string]string{"why": "gone"})
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if at := s.Position(); at != (parsers.Position{Offset: 37, Seq: 7, Line: 4}) {
		t.Errorf("Position() = %+v; want offset 37, event 7, line 4", at)
	}
}

// A stream that is broken off after any event and taken up at its position gives
// the same events as one that ran through.
func TestStreamResumesAtAnyEvent(t *testing.T) {
	p := builtin(t, parsers.WordingPlain)
	text := []byte("---- start ----\r\nsetting coil = 117\r\ntag 5C 0A 91 E3 on the reader\r\nready\r\n")
	want := streamEvents(t, text, p)
	for n := range want {
		last := want[n]
		at := parsers.Position{Offset: last.Offset + last.Size(), Seq: last.Seq, Line: last.Lines[1]}
		s := parsers.StreamAt(at, p)
		got := append([]parsers.Event{}, want[:n+1]...)
		emit := func(e parsers.Event) { got = append(got, e) }
		s.Feed(text[at.Offset:], time.Time{}, emit)
		s.Flush(emit)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("taken up after event %d (-want +got):\n%s", n+1, diff)
		}
	}
}

// FuzzStream: nothing panics, nothing is lost, and the pieces do not matter.
func FuzzStream(f *testing.F) {
	ps := auto(f)
	f.Add([]byte("Scanned PICC's UID:\r\n5CA91E3\r\n\xff---- start ----\n\r@card-added uid=5C0A91E3\r"), 3)
	f.Add([]byte("In hex:  5C 0A 91 E3\r\nIn dec:  92 010 145 227\r\n"), 1)
	for _, name := range []string{"H04.log", "F69.long.log"} {
		text := readCapture(f, name)
		f.Add(text[:min(len(text), 600)], 7)
	}
	f.Fuzz(func(t *testing.T, text []byte, piece int) {
		whole := streamEvents(t, text, ps...)
		piece = max(piece%64, 1)
		var pieces []parsers.Event
		s := parsers.NewStream(ps...)
		emit := func(e parsers.Event) { pieces = append(pieces, e) }
		for rest := text; len(rest) > 0; {
			n := min(piece, len(rest))
			s.Feed(rest[:n], time.Time{}, emit)
			rest = rest[n:]
		}
		s.Flush(emit)
		if diff := cmp.Diff(whole, pieces); diff != "" {
			t.Fatalf("in pieces of %d (-whole +pieces):\n%s", piece, diff)
		}
	})
}

// R31: noise in the first 400 bytes or 2 s behind an attachment or a start is told apart
// from noise in the middle of service.
func TestNoiseAtABeginning(t *testing.T) {
	at := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)
	s := parsers.NewStream(builtin(t, parsers.WordingPlain))
	var got []string
	emit := func(e parsers.Event) { got = append(got, string(e.Kind)+" "+e.Field(parsers.FieldAt)) }
	noise := []byte("\xf3\x8c\x00\x91\xfe\xff\r\n")
	fill := []byte(strings.Repeat("network link up\r\n", 30))
	s.Mark(parsers.KindAttached, at, nil, emit)
	s.Feed(noise, at.Add(10*time.Second), emit) // late, but the first that comes
	s.Feed(fill, at.Add(11*time.Second), emit)
	s.Feed(noise, at.Add(12*time.Second), emit)
	s.Feed([]byte("---- start ----\r\n"), at.Add(13*time.Second), emit)
	s.Feed(fill, at.Add(14*time.Second), emit)
	s.Feed(noise, at.Add(14500*time.Millisecond), emit) // far, but soon after the start
	s.Feed(noise, at.Add(15100*time.Millisecond), emit)
	got = slices.DeleteFunc(got, func(e string) bool { return strings.HasPrefix(e, "link-up") })
	want := []string{"attached ", "noise start", "noise ", "boot ", "noise start", "noise "}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
