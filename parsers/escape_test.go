package parsers_test

import (
	"testing"

	"propwright/parsers"
)

// ECMA-48 for the control sequences, Unicode UAX 9 for the bidirectional
// controls: none of them may reach a terminal.
func TestPrintable(t *testing.T) {
	tests := map[string]struct{ in, want string }{
		"plain":                 {"card 5C 0A é", "card 5C 0A é"},
		"clear screen":          {"\x1b[2J", `\x1B[2J`},
		"title":                 {"\x1b]0;x\x07", `\x1B]0;x\x07`},
		"eight-bit introducer":  {"\u009b2J", `\xC2\x9B2J`},
		"right to left":         {"a\u202eb", `a\xE2\x80\xAEb`},
		"isolate":               {"a\u2066b", `a\xE2\x81\xA6b`},
		"invisible":             {"a\u200bb\ufeff", `a\xE2\x80\x8Bb\xEF\xBB\xBF`},
		"line separator":        {"a\u2028b", `a\xE2\x80\xA8b`},
		"no UTF-8":              {"a\xffb", `a\xFFb`},
		"tab and line end":      {"a\tb\r\n", `a\x09b\x0D\x0A`},
		"backslash":             {`a\x41`, `a\\x41`},
		"blank of another kind": {"a\u00a0b", `a\xC2\xA0b`},
		"delete":                {"a\x7f", `a\x7F`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := parsers.Printable(tt.in)
			if got != tt.want {
				t.Errorf("Printable(%q) = %q; want %q", tt.in, got, tt.want)
			}
			if back, err := parsers.UnescapeRaw(got); err != nil || string(back) != tt.in {
				t.Errorf("UnescapeRaw(%q) = %q, %v; want %q", got, back, err, tt.in)
			}
		})
	}
}

func TestUnescapeRawRefuses(t *testing.T) {
	for _, in := range []string{`\`, `a\`, `\n`, `\x`, `\x4`, `\xg0`, `\X41`} {
		if got, err := parsers.UnescapeRaw(in); err == nil {
			t.Errorf("UnescapeRaw(%q) = %q; want an error", in, got)
		}
	}
}
