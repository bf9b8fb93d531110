package report

import (
	"strings"
	"testing"
)

// The prints are those that firmware is known to use (common practice, no
// source). 04A1B2C3 is 77705923 as one number and 3283263748 backwards.
func TestMaskHidesEveryPrintOfAKnownTag(t *testing.T) {
	m := newMasker([]Tag{{UID: "04A1B2C3D4E5F6", Fingerprint: "aaaaaaaa"}, {UID: "04A1B2C3", Fingerprint: "bbbbbbbb"}, {UID: "~4A1B2C", Fingerprint: "cccccccc"}})
	tests := map[string]string{
		"card 04 A1 B2 C3 D4 E5 F6 added":        "card tag aaaaaaaa added",
		"card 04A1B2C3D4E5F6 added":              "card tag aaaaaaaa added",
		"uid=04a1b2c3d4e5f6":                     "uid=tag aaaaaaaa",
		"04:a1:b2:c3":                            "tag bbbbbbbb",
		"04-A1-B2-C3.":                           "tag bbbbbbbb.",
		"{0x04, 0xA1, 0xB2, 0xC3}":               "{tag bbbbbbbb}",
		"0x04A1B2C3":                             "tag bbbbbbbb",
		"UID:4 A1 B2 C3":                         "UID:tag bbbbbbbb",
		"UID04A1B2C3":                            "UIDtag bbbbbbbb",
		"4 161 178 195":                          "tag bbbbbbbb",
		"004.161.178.195":                        "tag bbbbbbbb",
		"number 77705923 again":                  "number tag bbbbbbbb again",
		"number 3283263748":                      "number tag bbbbbbbb",
		"C3 B2 A1 04":                            "tag bbbbbbbb",
		"c3b2a104":                               "tag bbbbbbbb",
		`UID:\x0d\x0a04 A1\x20B2 C3`:             `UID:\x0d\x0atag bbbbbbbb`,
		"print 4a1b2c of old":                    "print tag cccccccc of old",
		"unknown 5C 0A 91 E3 here":               "unknown tag not named here",
		"unknown 04:11:22:33:44:55:66":           "unknown tag not named",
		"unknown 04112233445566":                 "unknown tag not named",
		"network mac 02:54:57:00:00:57":          "network mac 02:54:57:00:00:57",
		"address 10.77.0.57 mask 255.255.0.0":    "address 10.77.0.57 mask 255.255.0.0",
		"controller 10.77.0.10:502 connected":    "controller 10.77.0.10:502 connected",
		"coil 117 written on":                    "coil 117 written on",
		"reader chip version 0x92":               "reader chip version 0x92",
		"added a bed, faded":                     "added a bed, faded",
		"20 of 20 at 6 mm, 0.8609 to 1, 95 %":    "20 of 20 at 6 mm, 0.8609 to 1, 95 %",
		"started after: power-on":                "started after: power-on",
		"2026-11-25 is no tag and 3.2.0 is none": "2026-11-25 is no tag and 3.2.0 is none",
	}
	for in, want := range tests {
		if got := m.mask(in); got != want {
			t.Errorf("mask(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestHarmless(t *testing.T) {
	tests := map[string]string{
		"plain – text °": "plain – text °", "\x1b[2J": `\x1b[2J`, "a\nb\tc\r": `a\x0ab\x09c\x0d`, "\u202egnirts\u2066": `\u{202e}gnirts\u{2066}`,
		"\u200b": `\u{200b}`, "bad \xff": "bad \ufffd", "\u0085": `\u{85}`, "\u00a0": `\u{a0}`,
	}
	for in, want := range tests {
		if got := harmless(in); got != want {
			t.Errorf("harmless(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestPrintable(t *testing.T) {
	tests := map[string]string{
		`a\b`: `a\\b`, "\x00\x7f": `\x00\x7f`, "\xc3\xa9": "é", "\xc3": `\xc3`, "\u202e": `\xe2\x80\xae`, "\xef\xbf\xbd": "\ufffd",
	}
	for in, want := range tests {
		if got := printable([]byte(in)); got != want {
			t.Errorf("printable(%q) = %q, want %q", in, got, want)
		}
	}
}

func FuzzMask(f *testing.F) {
	f.Add("card 04 A1 B2 C3 added", "04A1B2C3")
	f.Add("\xff\\x00", "~41")
	f.Fuzz(func(t *testing.T, text, uid string) {
		got := newMasker([]Tag{{UID: uid, Fingerprint: "aaaaaaaa"}}).mask(harmless(text))
		if strings.ContainsFunc(got, func(r rune) bool { return !visible(r) }) {
			t.Errorf("%q shows what is not visible", got)
		}
		if len(uid) == 8 && isUpperHex(uid) && strings.Contains(strings.ReplaceAll(strings.ToUpper(got), " ", ""), uid) {
			t.Errorf("mask(%q) = %q holds %s", text, got, uid)
		}
	})
}

func isUpperHex(s string) bool { return strings.Trim(s, "0123456789ABCDEF") == "" }
