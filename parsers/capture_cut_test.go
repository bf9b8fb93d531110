package parsers_test

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"propwright/parsers"
)

// A capture whose files end at any byte, as after a power cut, still opens: every byte
// of the console that is there comes out, and what the arrivals lack is one complaint
// about a place in their file at the most.
func TestACaptureCutAnywhereOpens(t *testing.T) {
	console := readCapture(t, "H04.log")[:1500]
	var rows bytes.Buffer
	w, err := parsers.NewArrivals(&rows)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(console); i += 7 {
		if err := w.Bytes(console[i:min(i+7, len(console))], moment(i)); err != nil {
			t.Fatal(err)
		}
		if i == 700 {
			if err := w.Gap(moment(i), moment(i).Add(time.Second)); err != nil {
				t.Fatal(err)
			}
		}
	}
	open := func(what string, at int, console, arrivals []byte) {
		var got []byte
		s := parsers.NewStream(auto(t)...)
		emit := func(e parsers.Event) {
			got = append(got, e.Raw...)
			if e.End != parsers.EndCut {
				got = append(got, e.End...)
			}
		}
		err := parsers.ReadCapture(bytes.NewReader(console), bytes.NewReader(arrivals), func(p parsers.Piece) error {
			if p.Gap != nil {
				s.Mark(parsers.KindGap, p.At, nil, emit)
				return nil
			}
			s.Feed(p.Bytes, p.At, emit)
			return nil
		})
		s.Flush(emit)
		if _, ok := errors.AsType[*parsers.CaptureError](err); err != nil && !ok {
			t.Fatalf("%s cut at %d: %v", what, at, err)
		}
		if !bytes.Equal(got, console) {
			t.Fatalf("%s cut at %d: %d bytes came out of %d", what, at, len(got), len(console))
		}
	}
	for at := range len(console) + 1 {
		open("console", at, console[:at], rows.Bytes())
	}
	for at := range rows.Len() + 1 {
		open("arrivals", at, console, rows.Bytes()[:at])
	}
}
