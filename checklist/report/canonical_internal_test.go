package report

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"
)

// RFC 8785, appendix B, table 1, through the path that a report takes.
func TestCanonicalNumbersAsRFC8785Says(t *testing.T) {
	for _, row := range rows(t, "rfc8785_numbers.csv") {
		bits, err := strconv.ParseUint(row[0], 16, 64)
		if err != nil {
			t.Fatal(err)
		}
		got, err := canonical(math.Float64frombits(bits))
		if row[1] == "" {
			if err == nil {
				t.Errorf("canonical(%s) = %s; want an error", row[0], got)
			}
			continue
		}
		if err != nil || string(got) != row[1] {
			t.Errorf("canonical(%s) = %s, %v; want %s", row[0], got, err, row[1])
		}
	}
}

// RFC 8785, sections 3.2.2 to 3.2.4: the library that makes the canonical form.
func TestCanonicalObjectsAsRFC8785Says(t *testing.T) {
	var file struct {
		Cases []struct {
			Name   string            `json:"name"`
			In     string            `json:"input_hex"`
			Out    string            `json:"output_hex"`
			Object map[string]string `json:"input"`
			Order  []string          `json:"expected_value_order"`
		} `json:"cases"`
	}
	if err := json.Unmarshal(table(t, "rfc8785_objects.json"), &file); err != nil {
		t.Fatal(err)
	}
	for _, c := range file.Cases {
		if c.In != "" {
			in, err1 := hex.DecodeString(c.In)
			want, err2 := hex.DecodeString(c.Out)
			if err1 != nil || err2 != nil {
				t.Fatal(err1, err2)
			}
			if got, err := jcs.Transform(in); err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s: %q, %v; want %q", c.Name, got, err, want)
			}
			continue
		}
		got, err := canonical(c.Object)
		if err != nil || len(c.Order) == 0 {
			t.Fatalf("%s: %v, %d values", c.Name, err, len(c.Order))
		}
		at := 0
		for _, value := range c.Order {
			i := strings.Index(string(got)[at:], `"`+value+`"`)
			if i < 0 {
				t.Fatalf("%s: %s: %q out of order", c.Name, got, value)
			}
			at += i
		}
	}
}

// RFC 8785, 3.2.2.2: what encoding/json escapes by default stays as it is.
func TestCanonicalEscapesNoMoreThanNeeded(t *testing.T) {
	got, err := canonical("<a&b>\u2028\x01\"\\")
	if want := "\"<a&b>\u2028\\u0001\\\"\\\\\""; err != nil || string(got) != want {
		t.Errorf("canonical = %s, %v; want %s", got, err, want)
	}
}

// RFC 8785, appendix D: whole numbers that a double cannot hold are strings.
func TestIntBeyondTwoToTheFiftyThird(t *testing.T) {
	tests := map[Int]string{
		0: "0", 9007199254740991: "9007199254740991", -9007199254740991: "-9007199254740991",
		9007199254740992: `"9007199254740992"`, math.MaxInt64: `"9223372036854775807"`, math.MinInt64: `"-9223372036854775808"`,
	}
	for in, want := range tests {
		got, err := canonical(in)
		if err != nil || string(got) != want {
			t.Errorf("canonical(%d) = %s, %v; want %s", in, got, err, want)
		}
		var back Int
		if err := json.Unmarshal(got, &back); err != nil || back != in {
			t.Errorf("%s read again = %d, %v", got, back, err)
		}
	}
	for _, bad := range []string{`"5"`, `9007199254740992`, `1.5`, `"x"`, `null`, `[]`} {
		var back Int
		if err := back.UnmarshalJSON([]byte(bad)); err == nil {
			t.Errorf("Int from %s = %d; want an error", bad, back)
		}
	}
}
