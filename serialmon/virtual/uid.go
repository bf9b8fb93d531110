package virtual

import (
	"encoding/hex"
	"fmt"
	"strings"
)

// A uid is a tag's identity as upper-case digits without blanks; "" is none.
type uid string

// parseUID reads hexadecimal digits, in pairs with or without blanks. The sizes
// are those of ISO/IEC 14443-3: 4, 7 or 10 bytes.
func parseUID(text string) (uid, error) {
	if len(text) > 64 {
		return "", fmt.Errorf("uid: %d characters, 64 at most", len(text))
	}
	raw, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		return "", fmt.Errorf("uid %q: must be pairs of hexadecimal digits", text)
	}
	switch len(raw) {
	case 4, 7, 10:
		return uid(strings.ToUpper(hex.EncodeToString(raw))), nil
	}
	return "", fmt.Errorf("uid %q: %d bytes, must be 4, 7 or 10", text, len(raw))
}

// spaced is the print as pairs.
func (u uid) spaced() string {
	var b strings.Builder
	for i := 0; i+1 < len(u); i += 2 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(string(u[i : i+2]))
	}
	return b.String()
}
