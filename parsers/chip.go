package parsers

import (
	"fmt"
	"strconv"
	"strings"
)

// A ChipFamily groups version values of reader chips by what they tell.
type ChipFamily string

// The families.
const (
	ChipGenuine    ChipFamily = "genuine"    // a version of the MFRC522 itself
	ChipCompatible ChipFamily = "compatible" // another maker's part that works alike
	ChipImitation  ChipFamily = "imitation"  // a part reported with a weak field or other timing
	ChipSilent     ChipFamily = "silent"     // no version: nothing answers
	ChipUnlisted   ChipFamily = "unlisted"   // a value that no table here has
)

// A Chip is what the value of an MFRC522's version register (0x37) means. One
// reading proves little: several values over ten readings are an electrical
// fault, whatever each of them means.
type Chip struct {
	Value  byte
	Family ChipFamily
	Name   string // what the value stands for
	// Comparable reports whether published reference bytes exist for the chip's
	// self-test (MFRC522 data sheet, 16.1.1: versions 1.0 and 2.0). Where they do
	// not, a self-test that differs says nothing, and a tag that is read overrides
	// it in any case.
	Comparable bool
}

// ChipVersion says what a version value means. 0x91 and 0x92, and the high
// nibble 9, are from the MFRC522 data sheet (9.3.4.8, tables 131 and 132); the
// other values are what users of open reader libraries reported.
func ChipVersion(v byte) Chip {
	c := Chip{Value: v, Family: ChipUnlisted, Name: "not listed"}
	switch v {
	case 0x00:
		c.Family, c.Name = ChipSilent, "no answer, the data line stays low"
	case 0xFF:
		c.Family, c.Name = ChipSilent, "no answer, the data line stays high"
	case 0x90:
		c.Family, c.Name = ChipGenuine, "MFRC522 version 0.0"
	case 0x91:
		c.Family, c.Name, c.Comparable = ChipGenuine, "MFRC522 version 1.0", true
	case 0x92:
		c.Family, c.Name, c.Comparable = ChipGenuine, "MFRC522 version 2.0", true
	case 0x88:
		c.Family, c.Name = ChipCompatible, "FM17522"
	case 0x82, 0x89, 0xB2: // makers' marking not settled: tables differ
		c.Family, c.Name = ChipCompatible, "compatible part"
	case 0x12:
		c.Family, c.Name = ChipImitation, "imitation"
	default:
		if v>>4 == 9 {
			c.Family, c.Name = ChipGenuine, "MFRC522, version not published"
		}
	}
	return c
}

// Genuine reports whether the value is one of the MFRC522's own.
func (c Chip) Genuine() bool { return c.Family == ChipGenuine }

// Silent reports whether the value means that nothing answers.
func (c Chip) Silent() bool { return c.Family == ChipSilent }

// String is the value with its meaning, such as "0x92 (MFRC522 version 2.0)".
func (c Chip) String() string { return fmt.Sprintf("0x%02X (%s)", c.Value, c.Name) }

// ParseChipVersion reads a version value as firmware prints it: one or two
// hexadecimal digits, with 0x before or h behind or neither.
func ParseChipVersion(text string) (Chip, error) {
	digits := strings.ToLower(text)
	if d, ok := strings.CutPrefix(digits, "0x"); ok {
		digits = d
	} else {
		digits = strings.TrimSuffix(digits, "h")
	}
	if len(digits) < 1 || len(digits) > 2 || !isHexDigit(digits[0]) {
		return Chip{}, fmt.Errorf("chip version %q: want one or two hexadecimal digits", text)
	}
	v, err := strconv.ParseUint(digits, 16, 8)
	if err != nil {
		return Chip{}, fmt.Errorf("chip version %q: not hexadecimal", text)
	}
	return ChipVersion(byte(v)), nil
}
