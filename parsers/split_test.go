package parsers_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

type lineEnd struct{ Raw, End string }

func splitAll(pieces ...string) []lineEnd {
	var s parsers.Splitter
	var got []lineEnd
	emit := func(l parsers.Line) { got = append(got, lineEnd{string(l.Raw), l.End}) }
	for _, p := range pieces {
		s.Feed([]byte(p), time.Time{}, emit)
	}
	s.Flush("", emit)
	return got
}

func TestSplitTerminators(t *testing.T) {
	tests := map[string]struct {
		in   string
		want []lineEnd
	}{
		"carriage return, line feed": {"a\r\nb\r\n", []lineEnd{{"a", "\r\n"}, {"b", "\r\n"}}},
		"line feed":                  {"a\nb\n", []lineEnd{{"a", "\n"}, {"b", "\n"}}},
		"carriage return":            {"a\rb\r", []lineEnd{{"a", "\r"}, {"b", "\r"}}},
		"line feed first":            {"a\n\rb\n\r", []lineEnd{{"a", "\n\r"}, {"b", "\n\r"}}},
		"blank lines":                {"a\r\n\r\nb\r\n", []lineEnd{{"a", "\r\n"}, {"", "\r\n"}, {"b", "\r\n"}}},
		"blank lines, line feed":     {"a\n\nb", []lineEnd{{"a", "\n"}, {"", "\n"}, {"b", ""}}},
		"last line without end":      {"a\r\nb", []lineEnd{{"a", "\r\n"}, {"b", ""}}},
		"mixed":                      {"a\nb\r\nc\rd", []lineEnd{{"a", "\n"}, {"b", "\r\n"}, {"c", "\r"}, {"d", ""}}},
		"nothing":                    {"", nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, splitAll(tt.in)); diff != "" {
				t.Errorf("in one piece (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(tt.want, splitAll(strings.Split(tt.in, "")...)); diff != "" {
				t.Errorf("byte by byte (-want +got):\n%s", diff)
			}
		})
	}
}

func TestSplitCutsLongLines(t *testing.T) {
	long := strings.Repeat("x", parsers.MaxLine)
	want := []lineEnd{{long, parsers.EndCut}, {long, parsers.EndCut}, {"yz", "\r\n"}}
	if diff := cmp.Diff(want, splitAll(long+long+"yz\r\n")); diff != "" {
		t.Errorf("(-want +got):\n%.300s", diff)
	}
	// A line that just fits is not cut.
	if diff := cmp.Diff([]lineEnd{{long, "\n"}}, splitAll(long+"\n")); diff != "" {
		t.Errorf("exactly full (-want +got):\n%.300s", diff)
	}
}

// After the first line has shown that a line feed comes alone, lines end with it
// at once: a board that prints nothing else must not lag by a line.
func TestSplitGivesLineFeedLinesAtOnce(t *testing.T) {
	var s parsers.Splitter
	var got []string
	emit := func(l parsers.Line) { got = append(got, string(l.Raw)) }
	s.Feed([]byte("one\ntwo\n"), time.Time{}, emit)
	if diff := cmp.Diff([]string{"one", "two"}, got); diff != "" {
		t.Errorf("before anything else comes (-want +got):\n%s", diff)
	}
}

func TestSplitSettleEndsOnlyWhatHasATerminator(t *testing.T) {
	var s parsers.Splitter
	var got []lineEnd
	emit := func(l parsers.Line) { got = append(got, lineEnd{string(l.Raw), l.End}) }
	s.Feed([]byte("a\r"), time.Time{}, emit)
	if got != nil {
		t.Fatalf("a carriage return did not wait: %q", got)
	}
	s.Settle(emit)
	s.Feed([]byte("b"), time.Time{}, emit)
	s.Settle(emit)
	if diff := cmp.Diff([]lineEnd{{"a", "\r"}}, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestSplitTimesAndOffsets(t *testing.T) {
	at := func(ms int) time.Time { return time.UnixMilli(int64(ms)).UTC() }
	s := parsers.SplitterAt(100, 7)
	var got []parsers.Line
	emit := func(l parsers.Line) { got = append(got, l) }
	s.Feed([]byte("ab"), at(1), emit)
	s.Feed([]byte("c\r"), at(2), emit)
	s.Feed([]byte("\nd"), at(3), emit)
	s.Feed([]byte("\r"), at(4), emit)
	s.Feed([]byte("e"), at(5), emit)
	s.Flush(parsers.EndCut, emit)
	want := []parsers.Line{
		{Number: 8, Offset: 100, First: at(1), Last: at(3), Raw: []byte("abc"), End: "\r\n"},
		{Number: 9, Offset: 105, First: at(3), Last: at(4), Raw: []byte("d"), End: "\r"},
		{Number: 10, Offset: 107, First: at(5), Last: at(5), Raw: []byte("e"), End: parsers.EndCut},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
