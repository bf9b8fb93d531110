package parsers_test

import (
	"strings"
	"testing"
	"time"

	"propwright/parsers"
)

// A value that stands a byte a line is a UID of four, seven or ten bytes (ISO/IEC 14443-3)
// or none; whatever it is, the events give the text back, in whatever pieces it came, also
// where the console falls silent behind the last byte.
func TestAByteALine(t *testing.T) {
	for text, want := range map[string]string{
		"card detected:\r\n92\r\n10\r\n145\r\n227\r\n\r\n":            "tag-present unknown",
		"card detected:\r\n92\r\n10\r\n145\r\n227\r\n":                "tag-present",
		"card detected:\r\n92\r\n10\r\n145\r\n227":                    "tag-present",
		"card detected:\n92\n10\n145\n227\ncoil 117 written on\n":     "tag-present coil-written",
		"card detected:\n92\n10\n145\n\n":                             "unknown unknown unknown unknown unknown",
		"card detected:\n92\n10\n145\n256\n\n":                        "unknown unknown unknown unknown unknown unknown",
		"card detected:\n92\ncard detected:\n92\n10\n145\n227\n":      "unknown unknown tag-present",
		"card detected:\n1\n2\n3\n4\n5\n6\n7\n8\n9\n10\n11\n":         "tag-present unknown",
		"card detected:\n\n92\n10\n145\n227\n":                        "unknown unknown unknown unknown unknown unknown",
		"card detected:\n" + strings.Repeat("7\n", 5) + "door ajar\n": "unknown unknown unknown unknown unknown unknown unknown",
	} {
		for piece := 1; piece <= len(text); piece++ {
			s := parsers.NewStream(auto(t)...)
			var kinds, back []string
			end, seq := int64(0), uint64(0)
			take := func(e parsers.Event) {
				kinds = append(kinds, string(e.Kind))
				back = append(back, string(e.Raw), e.End)
				if seq++; e.Seq != seq || e.Offset != end {
					t.Errorf("%q by %d: event %d at %d, want %d at %d", text, piece, e.Seq, e.Offset, seq, end)
				}
				end = e.Offset + int64(len(e.Raw)+len(e.End))
			}
			for rest := text; rest != ""; {
				n := min(piece, len(rest))
				s.Feed([]byte(rest[:n]), time.Time{}, take)
				rest = rest[n:]
			}
			s.Flush(take)
			if got := strings.Join(kinds, " "); got != want || strings.Join(back, "") != text {
				t.Fatalf("%q by %d: %s, %q; want %s", text, piece, got, back, want)
			}
			if at := s.Position(); at.Offset != int64(len(text)) || at.Seq != seq {
				t.Errorf("%q by %d: position %+v", text, piece, at)
			}
		}
	}
}
