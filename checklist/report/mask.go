package report

import (
	"encoding/hex"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"unicode"
)

// A masker takes tag identifiers out of text. It knows the tags of a report in
// every print that firmware uses: hex pairs joined, or apart by blanks, colons,
// commas or dashes, with or without 0x and leading noughts; the bytes as decimal
// numbers; all of them as one decimal number; each of these backwards too. What
// looks like a tag that it does not know is taken out as well. It rather hides
// too much than too little.
type masker struct {
	known []knownTag
	loose *regexp.Regexp
}

type knownTag struct {
	forms *regexp.Regexp
	shown string
}

// between is what stands between two bytes of a print.
const between = `(?:[\s,;:._/-]|\\x[0-9a-f]{2}){0,3}`

func newMasker(tags []Tag) *masker {
	m := &masker{loose: loosePrint()}
	for _, t := range tags {
		forms := printsOf(strings.ToValidUTF8(t.UID, "\ufffd"))
		if forms == "" {
			continue
		}
		if re, err := regexp.Compile(`(?i)` + forms); err == nil {
			m.known = append(m.known, knownTag{re, "tag " + t.Fingerprint})
		}
	}
	return m
}

// loosePrint matches what looks like a tag: pairs apart, or 14 or 20 digits.
var loosePrint = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)\b(?:0x)?[0-9a-f]{2}(?:[ :,_-]{1,2}(?:0x)?[0-9a-f]{2})+\b|\b(?:[0-9a-f]{14}|[0-9a-f]{20})\b`)
})

// printsOf returns the alternatives that a UID can be printed as, longest first.
func printsOf(uid string) string {
	raw, err := hex.DecodeString(uid)
	if err != nil || len(raw) < 3 || len(raw) > 16 {
		// An ambiguous print is known by its own text only.
		if text := strings.TrimPrefix(uid, "~"); len(text) >= 4 && len(text) <= 64 {
			return regexp.QuoteMeta(text)
		}
		return ""
	}
	var forms []string
	for range 2 {
		forms = append(forms, hexForm(raw), decimalForm(raw))
		forms = append(forms, joinedForms(raw)...)
		back := make([]byte, len(raw))
		for i, b := range raw {
			back[len(raw)-1-i] = b
		}
		raw = back
	}
	return "(?:" + strings.Join(forms, "|") + ")"
}

// hexForm matches pairs, joined or apart, a leading nought missing where they
// are apart.
func hexForm(raw []byte) string {
	pairs, short := make([]string, len(raw)), make([]string, len(raw))
	for i, b := range raw {
		pairs[i] = "(?:0x)?" + hex.EncodeToString([]byte{b})
		short[i] = "(?:0x)?0?" + strconv.FormatUint(uint64(b), 16)
	}
	apart := strings.Replace(between, "{0,3}", "{1,3}", 1)
	return strings.Join(pairs, between) + `|\b` + strings.Join(short, apart) + `\b`
}

func decimalForm(raw []byte) string {
	nums := make([]string, len(raw))
	for i, b := range raw {
		nums[i] = "0{0,2}" + strconv.Itoa(int(b))
	}
	return `\b` + strings.Join(nums, strings.Replace(between, "{0,3}", "{1,3}", 1)) + `\b`
}

// joinedForms are the prints without anything between, noughts lost, and the one
// big number. Short ones are left: they could be any figure.
func joinedForms(raw []byte) []string {
	var hexDigits, decDigits strings.Builder
	var n uint64
	for _, b := range raw {
		hexDigits.WriteString(strconv.FormatUint(uint64(b), 16))
		decDigits.WriteString(strconv.Itoa(int(b)))
		n = n<<8 | uint64(b)
	}
	all := []string{hexDigits.String(), decDigits.String()}
	if len(raw) <= 8 {
		all = append(all, strconv.FormatUint(n, 10), strconv.FormatUint(n, 16))
	}
	var forms []string
	for _, s := range all {
		if len(s) >= 6 {
			forms = append(forms, `\b0*`+s+`\b`)
		}
	}
	return forms
}

// mask returns text without identifiers.
func (m *masker) mask(text string) string {
	if !mayNameTag(text) {
		return text
	}
	for _, t := range m.known {
		text = t.forms.ReplaceAllLiteralString(text, t.shown)
	}
	return m.loose.ReplaceAllStringFunc(text, func(s string) string {
		digits := strings.NewReplacer("0x", "", "0X", "", " ", "", ":", "", ",", "", "_", "", "-", "").Replace(s)
		switch len(digits) {
		case 8, 14, 20: // the lengths that ISO/IEC 14443-3 knows, in digits
			return "tag not named"
		default:
			return s
		}
	})
}

// mayNameTag is a quick look that spares most text the search: a tag's print has
// four digits or more close together, among them a decimal one or eight in all.
func mayNameTag(text string) bool {
	digits, decimal := 0, false
	for i := range len(text) {
		switch c := text[i]; {
		case c >= '0' && c <= '9':
			digits, decimal = digits+1, true
		case c >= 'a' && c <= 'f', c >= 'A' && c <= 'F':
			digits++
		case c == 'x', c == 'X', c < 0x80 && !unicode.IsLetter(rune(c)):
			continue // may stand between
		default:
			digits, decimal = 0, false
		}
		if digits >= 4 && decimal || digits >= 8 {
			return true
		}
	}
	return false
}

// harmless shows text so that nothing in it can move a cursor, turn the writing
// direction or hide.
func harmless(text string) string {
	text = strings.ToValidUTF8(text, "\ufffd")
	if !strings.ContainsFunc(text, func(r rune) bool { return !visible(r) }) {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		switch {
		case visible(r):
			b.WriteRune(r)
		case r < 0x80:
			b.WriteString(`\x` + hex.EncodeToString([]byte{byte(r)}))
		default:
			b.WriteString(`\u{` + strconv.FormatInt(int64(r), 16) + `}`)
		}
	}
	return b.String()
}
