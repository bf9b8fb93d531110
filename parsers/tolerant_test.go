package parsers_test

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

// unknown reads a line as one that no wording knows.
func unknown(t *testing.T, line string) parsers.Event {
	t.Helper()
	var got []parsers.Event
	s := parsers.NewStream()
	s.Feed([]byte(line+"\n"), time.Time{}, func(e parsers.Event) { got = append(got, e) })
	s.Flush(func(e parsers.Event) { got = append(got, e) })
	if len(got) != 1 || got[0].Kind != parsers.KindUnknown {
		t.Fatalf("%q gave %v, want one unknown event", line, got)
	}
	return got[0]
}

// What a line surely holds is a matter of shape and of the word before it.
func TestUnknownLineGivesUpWhatItHolds(t *testing.T) {
	tests := map[string]map[string]string{
		"saw 5C 0A 91 E3":   {"uid": "5C0A91E3"},
		"saw 92,10,145,227": {"uid": "5C0A91E3"}, // as examples for single-board computers print it
		"saw 0x5c0a91e3":    {"uid": "5C0A91E3"},
		"12345678":          {}, // may be a counter
		"tag 12345678":      {"uid": "12345678"},
		"saw 1C 1C 1C 1C":   {}, // four states, no tag
		"dump 7E 31 0B 44 00 08 04 00 62 63 64 65 66 67 68 69": {},
		"version register says 0x92":                           {"version": "0x92"},
		"version register says 92h":                            {"version": "0x92"},
		"version register says 146":                            {"version": "0x92"}, // some programs print it in decimal
		"type 0x10":                                            {},
		"10.77.0.57 behind router 10.77.0.1":                   {"ip": "10.77.0.57", "gateway": "10.77.0.1"},
		"gw 10.77.0.1 255.255.255.0":                           {"gateway": "10.77.0.1", "mask": "255.255.255.0"},
		"hw DE.AD.BE.EF.FE.ED":                                 {"mac": "DE:AD:BE:EF:FE:ED"},
		"poll gave result 3":                                   {"result": "3"},
		"7 tags":                                               {"count": "7"},
		"slot 2; tag none":                                     {},
		"relay 117 energised":                                  {"coil": "117", "value": "on"},
		"output 010 = 0":                                       {"coil": "10", "value": "off"}, // never octal
		"10:15:20.015 -> all went well: passed":                {"outcome": "success"},
		"write failed":                                         {"outcome": "failure"},
		"errors: 0":                                            {},
		"":                                                     {},
	}
	held := []string{"uid", "ip", "gateway", "mask", "mac", "version", "result", "count", "coil", "value", "outcome"}
	for line, want := range tests {
		got := unknown(t, line).Fields()
		maps.DeleteFunc(got, func(name, _ string) bool { return !slices.Contains(held, name) })
		if got == nil {
			got = map[string]string{}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%q (-want +got):\n%s", line, diff)
		}
	}
}

type unknownLine struct{ firmware, kinds, line string }

func unknownLines(t *testing.T) []unknownLine {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "tables", "unknown_lines.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	var lines []unknownLine
	for row := range strings.Lines(string(text)) {
		cells := strings.SplitN(strings.TrimSuffix(row, "\n"), "\t", 3)
		if !strings.HasPrefix(row, "#") && len(cells) == 3 {
			lines = append(lines, unknownLine{cells[0], cells[1], cells[2]})
		}
	}
	if len(lines) < 300 {
		t.Fatalf("%d lines, want the whole table", len(lines))
	}
	return lines
}

// A guess says how often it is right: over firmwares of ten languages it is, band by
// band, and it leaves lines alone that report nothing.
func TestGuessesAreAsSureAsTheySay(t *testing.T) {
	type band struct{ all, right int }
	bands := map[float64]*band{0.3: {}, 0.5: {}, 0.7: {}, 0.8: {}}
	byFirmware := map[string]*band{}
	var facts, found, idle, misled int
	for _, l := range unknownLines(t) {
		kind, sure := unknown(t, l.line).Guess()
		kinds := strings.Split(l.kinds, "|")
		right := slices.Contains(kinds, string(kind)) || kind == "" && slices.Contains(kinds, "-")
		at := 0.0
		for low := range bands {
			if sure >= low {
				at = max(at, low)
			}
		}
		if b := bands[at]; b != nil {
			b.all++
			if right {
				b.right++
			}
		}
		if !slices.Contains(kinds, "-") {
			if byFirmware[l.firmware] == nil {
				byFirmware[l.firmware] = &band{}
			}
			facts++
			byFirmware[l.firmware].all++
			if right {
				found++
				byFirmware[l.firmware].right++
			}
		} else if idle++; sure >= 0.5 && !right {
			misled++
			t.Logf("%s: %q is taken for %s, %.2f", l.firmware, l.line, kind, sure)
		}
		if kind != "" && !right && sure >= 0.5 && !slices.Contains(kinds, "-") {
			t.Logf("%s: %q is %s, guessed %s, %.2f", l.firmware, l.line, l.kinds, kind, sure)
		}
	}
	for _, low := range slices.Sorted(maps.Keys(bands)) {
		b := bands[low]
		t.Logf("sure from %.1f: %d of %d right", low, b.right, b.all)
		if b.all > 0 && float64(b.right) < low*float64(b.all) {
			t.Errorf("guesses that are sure from %.1f: %d of %d right", low, b.right, b.all)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(byFirmware)) {
		t.Logf("%s: %d of %d facts found", name, byFirmware[name].right, byFirmware[name].all)
	}
	if found*4 < facts*3 {
		t.Errorf("%d of %d facts found, want three in four", found, facts)
	}
	if misled*20 > idle {
		t.Errorf("%d of %d lines that report nothing are taken for facts, want at most one in twenty", misled, idle)
	}
}

// A known line has no guess.
func TestKnownLinesAreNotGuessed(t *testing.T) {
	var got []parsers.Event
	s := parsers.NewStream(builtin(t, parsers.WordingPlain))
	s.Feed([]byte("card 5C 0A 91 E3 added\n"), time.Time{}, func(e parsers.Event) { got = append(got, e) })
	s.Flush(func(e parsers.Event) { got = append(got, e) })
	if kind, sure := got[0].Guess(); got[0].Kind != parsers.KindCardAdded || kind != "" || sure != 0 {
		t.Errorf("got %v, guess %q %.2f; want card-added and no guess", got[0].Kind, kind, sure)
	}
}
