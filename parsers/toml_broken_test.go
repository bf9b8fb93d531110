package parsers_test

import (
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"propwright/parsers"
)

// Where TOML v1.0.0 (toml.io/en/v1.0.0) forbids a text, the line is the one on which it
// is broken; a value of the wrong type is on the line of its key.
func TestBrokenTOMLNamesFileLineAndKey(t *testing.T) {
	tests := []struct{ name, text, where string }{
		{"no value", "a = 1\nb = \n", "site.toml:2: field b: "},
		{"a key twice", "a = 1\n\na = 2\n", "site.toml:3: field a: "},
		{"text for a number", "\na = \"x\"\n", `site.toml:2: field a: a whole number is wanted, not a text`},
		{"a string over two lines", "b = 1\nc = \"x\ny\"\n", "site.toml:2: field c: "},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var v struct{ A, B int }
			_, err := toml.Decode(tt.text, &v)
			if err == nil {
				t.Fatal("it was decoded")
			}
			got := parsers.BrokenTOML("site.toml", err).Error()
			if !strings.HasPrefix(got, tt.where) || len(got) == len(tt.where) || strings.Contains(got, "\n") {
				t.Errorf("%q, want %q and a reason on one line", got, tt.where)
			}
		})
	}
}
