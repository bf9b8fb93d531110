package parsers_test

import (
	"testing"

	"propwright/parsers"
)

// 0x91 and 0x92: MFRC522 data sheet 9.3.4.8, tables 131 and 132. The others:
// reports to open reader libraries (0x88 pull request 106, 0x12 issues 482 and
// 501, 0x00 and 0xFF issues 341 and 628 of miguelbalboa/rfid; 0xB2 issue 616).
func TestChipVersion(t *testing.T) {
	tests := []struct {
		in         string
		value      byte
		family     parsers.ChipFamily
		comparable bool
	}{
		{"0x91", 0x91, parsers.ChipGenuine, true},
		{"0x92", 0x92, parsers.ChipGenuine, true},
		{"92h", 0x92, parsers.ChipGenuine, true},
		{"92", 0x92, parsers.ChipGenuine, true},
		{"0x90", 0x90, parsers.ChipGenuine, false},
		{"0x88", 0x88, parsers.ChipCompatible, false},
		{"0xb2", 0xB2, parsers.ChipCompatible, false},
		{"0x12", 0x12, parsers.ChipImitation, false},
		{"0x0", 0x00, parsers.ChipSilent, false},
		{"0xFF", 0xFF, parsers.ChipSilent, false},
		{"0xCF", 0xCF, parsers.ChipUnlisted, false},
	}
	for _, tt := range tests {
		c, err := parsers.ParseChipVersion(tt.in)
		if err != nil || c.Value != tt.value || c.Family != tt.family || c.Comparable != tt.comparable {
			t.Errorf("ParseChipVersion(%q) = %+v, %v; want %#x %s, comparable %t", tt.in, c, err, tt.value, tt.family, tt.comparable)
		}
		if c.Silent() != (tt.family == parsers.ChipSilent) || c.Genuine() != (tt.family == parsers.ChipGenuine) {
			t.Errorf("%v: silent %t, genuine %t", c, c.Silent(), c.Genuine())
		}
	}
	for _, in := range []string{"", "0x", "h", "0x123", "g2", "0xh", " 92"} {
		if c, err := parsers.ParseChipVersion(in); err == nil {
			t.Errorf("ParseChipVersion(%q) = %v; want an error", in, c)
		}
	}
}
