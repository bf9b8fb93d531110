package parsers_test

import (
	"strings"
	"testing"
	"time"

	"propwright/parsers"
)

// A line that speaks of "the tag before" takes its UID over only from shortly
// before, and never over an unplugged cable: another tag may lie there by then.
func TestTagOfTheLinesBefore(t *testing.T) {
	const tag, pass = "TAG:5C0A91E3\r\n", "Access granted\r\n"
	tests := map[string]struct {
		between string
		unplug  bool
		want    string
	}{
		"next line":       {want: "card-accepted uid=5C0A91E3"},
		"five between":    {between: strings.Repeat("working\r\n", 5), want: "card-accepted uid=5C0A91E3"},
		"six between":     {between: strings.Repeat("working\r\n", 6), want: "card-accepted"},
		"cable unplugged": {unplug: true, want: "card-accepted"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var last parsers.Event
			emit := func(e parsers.Event) { last = e }
			s := parsers.NewStream(builtin(t, parsers.WordingReaderLibrary))
			s.Feed([]byte(tag+tt.between), time.Time{}, emit)
			if tt.unplug {
				s.Mark(parsers.KindDetached, time.Time{}, nil, emit)
			}
			s.Feed([]byte(pass), time.Time{}, emit)
			if got := said(last); got != tt.want || (last.UID() != nil) != strings.Contains(tt.want, "uid=") {
				t.Errorf("got %q, UID %v; want %q", got, last.UID(), tt.want)
			}
		})
	}
}
