package parsers_test

import (
	"encoding/csv"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

// The prints are those that example programs and posted logs show; the tag is
// 5C 0A 91 E3, whose check byte is 24 (exclusive or of the four).
func TestParseUID(t *testing.T) {
	tests := map[string]struct {
		in, want string
		ok       bool
	}{
		"padded pairs, blanks":              {in: "5C 0A 91 E3", want: "5C0A91E3", ok: true},
		"seven bytes":                       {in: "04 3F A1 22 B7 60 80", want: "043FA122B76080", ok: true},
		"ten bytes":                         {in: "04 01 02 03 05 06 07 08 09 0A", want: "0401020305060708090A", ok: true},
		"joined, padded":                    {in: "5C0A91E3", want: "5C0A91E3", ok: true},
		"joined, seven, lower case":         {in: "043fa122b76080", want: "043FA122B76080", ok: true},
		"joined, unpadded, odd":             {in: "5CA91E3", want: "~5CA91E3", ok: true},
		"joined, unpadded, lower case":      {in: "5ca91e3", want: "~5CA91E3", ok: true},
		"joined, unpadded seven bytes":      {in: "43FA122B7680", want: "~43FA122B7680", ok: true},
		"joined, two small bytes":           {in: "5CA913", want: "~5CA913", ok: true},
		"blank or zero between":             {in: " 5C0A 91 E3", want: "5C0A91E3", ok: true},
		"0x and eight digits":               {in: "0x5c0a91e3", want: "5C0A91E3", ok: true},
		"quoted list, unpadded":             {in: "('0x5c', '0xa', '0x91', '0xe3')", want: "5C0A91E3", ok: true},
		"decimal, commas":                   {in: "92,10,145,227", want: "5C0A91E3", ok: true},
		"decimal, commas, check":            {in: "92,10,145,227,36", want: "5C0A91E3", ok: true},
		"decimal, commas, wrong check":      {in: "92,10,145,227,37"},
		"decimal, colons, check":            {in: "92:10:145:227:36", want: "5C0A91E3", ok: true},
		"decimal, dashes, cascade tag":      {in: "136-4-63-161-18", want: "88043FA1", ok: true},
		"decimal, small with 0, no octal":   {in: "92 010 145 227", want: "5C0A91E3", ok: true},
		"decimal, nine as 09":               {in: "92 09 145 227", want: "5C0991E3", ok: true},
		"whole number has several readings": {in: "1544196579", want: "~1544196579", ok: true},
		"number with check, too":            {in: "395314324260", want: "~395314324260", ok: true},
		"dashes":                            {in: "5C-0A-91-E3", want: "5C0A91E3", ok: true},
		"colons, seven":                     {in: "04:3F:A1:22:B7:60:80", want: "043FA122B76080", ok: true},
		"unpadded, blanks, lower case":      {in: " 5c a 91 e3", want: "5C0A91E3", ok: true},
		"unpadded, leading small byte":      {in: "4 a1 b2 c3", want: "04A1B2C3", ok: true},
		"hex or decimal, nobody knows":      {in: "92:10:45:7", want: "~92:10:45:7", ok: true},
		"hex with check":                    {in: "5C 0A 91 E3 24", want: "5C0A91E3", ok: true},
		"five bytes":                        {in: "04A1B2C3D4"}, // no such UID in ISO/IEC 14443-3
		"three bytes":                       {in: "5C 0A 91"},
		"six bytes, a hardware address":     {in: "02:54:57:00:00:57"},
		"eleven bytes":                      {in: "01 02 03 04 05 06 07 08 09 0A 0B"},
		"byte too large":                    {in: "5C 0A 91 1E3"},
		"empty":                             {in: ""},
		"only signs":                        {in: " :-"},
		"a word":                            {in: "harbour"},
		"marked, with one reading":          {in: "~5C0A91E3"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := parsers.ParseUID(tt.in)
			if got.String() != tt.want || (err == nil) != tt.ok {
				t.Errorf("ParseUID(%q) = %q, %v; want %q, ok %t", tt.in, got, err, tt.want, tt.ok)
			}
		})
	}
}

func TestSameTagPrintedDifferentlyIsEqual(t *testing.T) {
	a, errA := parsers.ParseUID("92,10,145,227,36")
	b, errB := parsers.ParseUID("5c:0a:91:e3")
	if errA != nil || errB != nil || a != b {
		t.Errorf("%v (%v) and %v (%v) differ; want the same tag", a, errA, b, errB)
	}
}

func TestParseUIDForm(t *testing.T) {
	tests := map[string]struct {
		in   string
		form parsers.UIDForm
		want string // "" for an error
	}{
		"number":               {"1544196579", parsers.FormNumber, "5C0A91E3"}, // 0x5C0A91E3
		"number with check":    {"395314324260", parsers.FormNumberCheck, "5C0A91E3"},
		"number from low":      {"158436756060", parsers.FormNumberCheckBack, "5C0A91E3"},
		"number, check wrong":  {"395314324261", parsers.FormNumberCheck, ""},
		"number too large":     {"4294967296", parsers.FormNumber, ""},
		"reversed":             {"E3910A5C", parsers.FormReversed, "5C0A91E3"},
		"decimal, all small":   {"92 010 45 07", parsers.FormDecimal, "5C0A2D07"},
		"hex, all digits":      {"92 10 45 07", parsers.FormHex, "92104507"},
		"no such form":         {"5C0A91E3", "roman", ""},
		"decimal, out of byte": {"92 256 45 7", parsers.FormDecimal, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := parsers.ParseUIDForm(tt.in, tt.form)
			if got.String() != tt.want || (err != nil) != (tt.want == "") {
				t.Errorf("ParseUIDForm(%q, %q) = %q, %v; want %q", tt.in, tt.form, got, err, tt.want)
			}
		})
	}
}

// ISO/IEC 14443-3: cascade levels 6.5.4; random UID table 11; manufacturer byte
// of 7 and 10 byte UIDs only (ISO/IEC 7816-6).
func TestUIDFacts(t *testing.T) {
	seven := mustUID(t, "04A1B2C3D4E5F6")
	want := []parsers.CascadeLevel{
		{Bytes: [4]byte{0x88, 0x04, 0xA1, 0xB2}, BCC: 0x9F},
		{Bytes: [4]byte{0xC3, 0xD4, 0xE5, 0xF6}, BCC: 0x04},
	}
	if diff := cmp.Diff(want, seven.CascadeLevels()); diff != "" {
		t.Errorf("CascadeLevels (-want +got):\n%s", diff)
	}
	if n := len(mustUID(t, "0401020305060708090A").CascadeLevels()); n != 3 {
		t.Errorf("ten bytes go in %d levels; want 3", n)
	}
	if b, ok := seven.Manufacturer(); b != 0x04 || !ok {
		t.Errorf("Manufacturer of %v = %#x, %t; want 0x04", seven, b, ok)
	}
	four := mustUID(t, "086B1FC2")
	if _, ok := four.Manufacturer(); ok || !four.Random() || four.Truncated() {
		t.Errorf("%v: manufacturer %t, random %t, truncated %t; want only random", four, ok, four.Random(), four.Truncated())
	}
	if mustUID(t, "088043FA122B76").Random() {
		t.Error("a 7-byte UID that begins with 08 is not random")
	}
	if !mustUID(t, "88043FA1").Truncated() {
		t.Error("four bytes from 88 on are the first level of a longer UID")
	}
	if a := mustUID(t, "5CA91E3"); !a.Ambiguous() || a.Len() != 0 || a.Bytes() != nil || a.CascadeLevels() != nil {
		t.Errorf("%v has bytes; an ambiguous print has none", a)
	}
}

// The tables name their sources in their headers.
func TestCheckBytesAgainstTables(t *testing.T) {
	for _, row := range table(t, "bcc_vectors.csv") {
		if got := parsers.BCC(unhex(t, row[0])); got != unhex(t, row[1])[0] {
			t.Errorf("BCC(%s) = %02X; want %s", row[0], got, row[1])
		}
	}
	for _, row := range table(t, "crc_a_vectors.csv") {
		want := [2]byte{unhex(t, row[1])[0], unhex(t, row[2])[0]}
		if got := parsers.CRCA(unhex(t, row[0])); got != want {
			t.Errorf("CRCA(%s) = % X; want % X", row[0], got, want)
		}
	}
}

// FuzzUID: what is printed is read back as the same, and nothing panics.
func FuzzUID(f *testing.F) {
	for _, s := range []string{"5C 0A 91 E3", "5CA91E3", "('0x5c', '0xa', '0x91', '0xe3')", "92:10:45:7", "~1544196579", "0x4a1b2c3", "92 10 7 8 9"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		u, err := parsers.ParseUID(s)
		if err != nil {
			if u != (parsers.UID{}) {
				t.Fatalf("ParseUID(%q) = %v with an error", s, u)
			}
			return
		}
		again, err := parsers.ParseUID(u.String())
		if err != nil || again != u {
			t.Fatalf("ParseUID(%q) = %q, read again %q, %v", s, u, again, err)
		}
		if n := u.Len(); !u.Ambiguous() && n != 4 && n != 7 && n != 10 {
			t.Fatalf("ParseUID(%q) has %d bytes", s, n)
		}
	})
}

func mustUID(t *testing.T, text string) parsers.UID {
	t.Helper()
	u, err := parsers.ParseUID(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// table reads a CSV file of testdata/tables without its header row.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "tables", name))
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(text)))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	return rows[1:]
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil || len(b) == 0 {
		t.Fatalf("%q is no hexadecimal", s)
	}
	return b
}
