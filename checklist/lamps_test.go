package checklist_test

import (
	"testing"

	"propwright/checklist"
)

// Lamps are told by position and blink, so that nobody needs to tell colours.
func TestLampsAreReadByPositionAndBlink(t *testing.T) {
	for text, want := range map[string][2]string{
		"1 3 / 2b": {"1 3", "2*"}, "none / 3": {"-", "3"}, "- / None": {"-", "-"}, "1B,2* / 3": {"1* 2*", "3"}, "3/2": {"3", "2"},
		"blue / 2": {}, "4 / 2": {}, "0 / 2": {}, "1bb / 2": {}, "b / 2": {}, "3": {}, "": {},
	} {
		before, now, err := checklist.ParseLampPair(text, 3)
		if (err != nil) != (want[0] == "") {
			t.Errorf("ParseLampPair(%q) = %v, want an error: %t", text, err, want[0] == "")
		}
		if err == nil && (before.String() != want[0] || now.String() != want[1]) {
			t.Errorf("ParseLampPair(%q) = %q, %q; want %q, %q", text, before, now, want[0], want[1])
		}
	}
}
