package parsers

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

const upperHex = "0123456789ABCDEF"

// EscapeRaw writes console bytes as text that holds no control codes: a
// backslash as \\, bytes that are control codes or no UTF-8 as \xNN. UnescapeRaw
// gives the bytes back exactly.
func EscapeRaw(raw []byte) string {
	return escape(raw, func(r rune) bool { return unicode.IsControl(r) })
}

// Printable writes text from outside so that a terminal shows it and does
// nothing else: what EscapeRaw escapes, and also what reorders, hides or breaks
// a line (bidirectional controls, invisible format characters, line and
// paragraph separators), and blanks of unusual width. UnescapeRaw reads it too.
func Printable(text string) string {
	return escape([]byte(text), func(r rune) bool {
		return r != ' ' && (!unicode.IsPrint(r) || r == '\u115F' || r == '\u1160' || r == '\u3164' || r == '\uFFA0')
	})
}

// escape escapes backslashes, bytes that are no UTF-8 and the runes that hostile
// names, byte by byte.
func escape(raw []byte, hostile func(rune) bool) string {
	var b strings.Builder
	b.Grow(len(raw))
	for len(raw) > 0 {
		r, size := utf8.DecodeRune(raw)
		switch {
		case r == '\\':
			b.WriteString(`\\`)
		case r == utf8.RuneError && size == 1, hostile(r):
			for _, c := range raw[:size] {
				b.WriteString(`\x`)
				b.WriteByte(upperHex[c>>4])
				b.WriteByte(upperHex[c&15])
			}
		default:
			b.Write(raw[:size])
		}
		raw = raw[size:]
	}
	return b.String()
}

// UnescapeRaw reads what EscapeRaw and Printable write. A backslash that begins
// neither \\ nor \xNN is an error.
func UnescapeRaw(text string) ([]byte, error) {
	raw := make([]byte, 0, len(text))
	for i := 0; i < len(text); i++ {
		if text[i] != '\\' {
			raw = append(raw, text[i])
			continue
		}
		rest := text[i+1:]
		switch {
		case strings.HasPrefix(rest, `\`):
			raw = append(raw, '\\')
			i++
		case len(rest) >= 3 && rest[0] == 'x' && isHexDigit(rest[1]) && isHexDigit(rest[2]):
			raw = append(raw, hexDigit(rest[1])<<4|hexDigit(rest[2]))
			i += 3
		case rest == "":
			return nil, errors.New("text ends in the middle of an escape")
		default:
			return nil, fmt.Errorf("%q at byte %d is no escape", text[i:min(i+4, len(text))], i)
		}
	}
	return raw, nil
}

// hexDigit is the value of a hexadecimal digit; 0 for any other byte.
func hexDigit(c byte) byte {
	switch {
	case '0' <= c && c <= '9':
		return c - '0'
	case 'a' <= c && c <= 'f':
		return c - 'a' + 10
	case 'A' <= c && c <= 'F':
		return c - 'A' + 10
	}
	return 0
}
