package parsers

import (
	"fmt"
	"net/netip"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A placeholderType says what may stand in a wording's hole and how its text
// becomes a field's value.
type placeholderType string

// The types of architecture and those that the published formats need besides.
const (
	typeUID    placeholderType = "uid"    // any common print of a tag's identity
	typePairs  placeholderType = "pairs"  // the same, but at least four values apart from each other
	typeHex8   placeholderType = "hex8"   // a byte in hexadecimal
	typeDec    placeholderType = "dec"    // a decimal number
	typeIP     placeholderType = "ip"     // dotted decimal, with a port or without
	typeMAC    placeholderType = "mac"    // six bytes in hexadecimal
	typeWord   placeholderType = "word"   // no blank in it
	typeStem   placeholderType = "stem"   // letters, or none: the end of a word
	typeClock  placeholderType = "clock"  // a time stamp or a count of ticks
	typeRest   placeholderType = "rest"   // everything up to the end of the line
	typeListed placeholderType = "listed" // one of a closed list of texts
)

// Expressions are over bytes as Latin-1 and hold no capturing group. They may
// take in more than the value's reader accepts: that one has the last word.
const (
	uidGroup = `(?:0[xX])?(?:[0-9A-Fa-f]{1,2}|[0-2][0-9]{2}|00[0-9A-Fa-f]|[0-9A-Fa-f]{2}(?:0[0-9A-Fa-f]){1,3})`
	uidApart = `(?:[ \t]+|[ \t'"]*[,:\-][ \t'"]*)`
	uidFirst = `[(\[{'"]*(?:0[xX])?[0-9A-Fa-f]+`
	uidLast  = `[)\]}'"]*`
)

func (t placeholderType) expr() string {
	switch t {
	case typeUID:
		return uidFirst + `(?:` + uidApart + uidGroup + `)*` + uidLast
	case typePairs:
		return uidFirst + `(?:` + uidApart + uidGroup + `){3,}` + uidLast
	case typeHex8:
		return `(?:0[xX])?[0-9A-Fa-f]{1,2}[hH]?`
	case typeDec:
		return `[0-9]+`
	case typeIP:
		return `[0-9]{1,3}(?:\.[0-9]{1,3}){3}\.?(?::[0-9]{1,5})?`
	case typeMAC:
		return `[0-9A-Fa-f]{1,2}(?:[.:\-][0-9A-Fa-f]{1,2}){5}|[0-9A-Fa-f]{12}`
	case typeWord:
		return `[\x{21}-\x{7E}\x{80}-\x{FF}]+`
	case typeStem:
		return `[A-Za-z]*`
	case typeClock:
		return `[0-9][0-9:.,TZ+\-]*`
	case typeRest:
		return `[^ \t](?:[\x{00}-\x{FF}]*[^ \t])?`
	}
	return ""
}

func typeNames() string { return "uid, pairs, hex8, dec, ip, mac, word, stem, clock, rest" }

// value reads the text that stood in the hole into a field's value.
func (h *placeholder) value(text []byte, form UIDForm) (string, error) {
	s := string(text)
	switch h.typ {
	case typeUID, typePairs:
		u, err := ParseUIDForm(s, form)
		return u.String(), err
	case typeHex8:
		c, err := ParseChipVersion(s)
		return fmt.Sprintf("0x%02X", c.Value), err
	case typeDec:
		return plainDecimal(s)
	case typeIP:
		return dottedIP(s)
	case typeMAC:
		return colonMAC(s)
	case typeListed:
		return h.listed(s), nil
	}
	return fieldText(text), nil
}

// plainDecimal drops leading zeros; they never mean octal.
func plainDecimal(s string) (string, error) {
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil {
		return "", fmt.Errorf("number %q: too large", clip(s))
	}
	return strconv.FormatUint(n, 10), nil
}

// dottedIP reads an address with a port or without. Some firmware prints a dot
// after every octet, and sentences end in one.
func dottedIP(s string) (string, error) {
	address, port, ported := strings.Cut(s, ":")
	var octets [4]byte
	for i, part := range strings.Split(strings.TrimSuffix(address, "."), ".") {
		n, err := strconv.ParseUint(part, 10, 8)
		if err != nil || i >= len(octets) {
			return "", fmt.Errorf("address %q: not four numbers up to 255", s)
		}
		octets[i] = byte(n)
	}
	ip := netip.AddrFrom4(octets)
	if !ported {
		return ip.String(), nil
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil {
		return "", fmt.Errorf("address %q: port not up to 65535", s)
	}
	return netip.AddrPortFrom(ip, uint16(n)).String(), nil
}

// colonMAC reads six bytes, padded or not, into upper-case pairs with colons.
func colonMAC(s string) (string, error) {
	parts := strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(".:-", r) })
	if len(parts) == 1 && len(s) == 12 {
		parts = parts[:0]
		for i := 0; i < len(s); i += 2 {
			parts = append(parts, s[i:i+2])
		}
	}
	if len(parts) != 6 {
		return "", fmt.Errorf("hardware address %q: want six bytes", s)
	}
	for i, part := range parts {
		n, err := strconv.ParseUint(part, 16, 8)
		if err != nil {
			return "", fmt.Errorf("hardware address %q: %q is no byte", s, part)
		}
		parts[i] = fmt.Sprintf("%02X", n)
	}
	return strings.Join(parts, ":"), nil
}

// listed finds what a text of the closed list stands for, in either case and
// with runs of blanks as one.
func (h *placeholder) listed(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	for text, value := range h.values {
		if strings.EqualFold(strings.Join(strings.Fields(text), " "), s) {
			return value
		}
	}
	return ""
}

// fieldText makes a field's value of text as it stood there: unchanged where it
// is text, escaped as EscapeRaw does where it is not.
func fieldText(text []byte) string {
	if !utf8.Valid(text) || strings.ContainsFunc(string(text), unicode.IsControl) {
		return EscapeRaw(text)
	}
	return string(text)
}
