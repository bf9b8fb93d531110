package parsers

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// maxUIDPrint bounds what ParseUID looks at: ten bytes as a quoted list with a
// prefix and two separators each, and some.
const maxUIDPrint = 128

// errReadings marks a print that more than one reading fits.
var errReadings = errors.New("more than one reading")

// ParseUID reads a tag's identity in any common print: pairs joined, or with
// blanks, colons, dashes or commas between, padded or not, either case, with 0x
// before each byte or the whole, as a quoted list in brackets, or decimal per
// byte. A fifth value is the check byte of a 4-byte UID and must be right.
//
// What can be read in more than one way is kept as printed (UID.Ambiguous):
// joined digits whose number fits no padded UID, a whole decimal number, values
// that are as good hexadecimal as decimal. A leading 0 never means octal, and no
// digit is padded by guess.
func ParseUID(text string) (UID, error) {
	if len(text) > maxUIDPrint {
		return UID{}, fmt.Errorf("uid: %d bytes of text, at most %d", len(text), maxUIDPrint)
	}
	if u, ok := pairsUID(text); ok {
		return u, nil
	}
	return parseUID(text)
}

// parseUID is ParseUID for any print.
func parseUID(text string) (UID, error) {
	marked := strings.HasPrefix(text, "~")
	print, tokens, err := uidTokens(strings.TrimPrefix(text, "~"))
	if err != nil {
		return UID{}, fmt.Errorf("uid %q: %w", text, err)
	}
	var u UID
	if len(tokens) == 1 {
		u, err = joinedUID(tokens[0])
	} else {
		u, err = separatedUID(tokens, strings.Contains(print, ","))
	}
	switch {
	case errors.Is(err, errReadings):
		return UID{print: print}, nil
	case err != nil:
		return UID{}, fmt.Errorf("uid %q: %w", text, err)
	case marked:
		return UID{}, fmt.Errorf("uid %q: marked as ambiguous but has one reading", text)
	}
	return u, nil
}

// uidTokens takes the values of a print apart. print is the normal form: upper
// case, one separator between two values, brackets and quotes gone.
func uidTokens(text string) (print string, tokens []string, err error) {
	text = strings.Trim(text, " \t")
	for _, c := range []byte(text) {
		if !isUIDByte(c) {
			return "", nil, fmt.Errorf("%q has no place in a UID", string(rune(c)))
		}
	}
	tokens = strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(uidSeparators, r) })
	if len(tokens) == 0 {
		return "", nil, errors.New("no digits")
	}
	for i, t := range tokens {
		tokens[i] = strings.ToUpper(t)
	}
	sep := " "
	inner := strings.Trim(text, uidSeparators)
	for _, s := range []string{",", ":", "-"} {
		if strings.Contains(inner, s) {
			sep = s
			break
		}
	}
	return strings.Join(tokens, sep), tokens, nil
}

const uidSeparators = " \t,:-()[]{}'\""

func isUIDByte(c byte) bool {
	return isHexDigit(c) || c == 'x' || c == 'X' || strings.IndexByte(uidSeparators, c) >= 0
}

func isHexDigit(c byte) bool {
	return '0' <= c && c <= '9' || 'a' <= c && c <= 'f' || 'A' <= c && c <= 'F'
}

// joinedUID reads one run of digits. Eight, fourteen and twenty digits are the
// padded prints, and also what an unpadded print of a UID without small bytes
// looks like, so they have one reading.
func joinedUID(token string) (UID, error) {
	digits := strings.TrimPrefix(token, "0X")
	if digits == "" || strings.Contains(digits, "X") {
		return UID{}, errors.New("no digits")
	}
	switch n := len(digits); {
	case n == 2*uidSingle, n == 2*uidDouble, n == 2*uidTriple:
		b, err := hex.DecodeString(digits)
		if err != nil {
			return UID{}, errors.New("not hexadecimal")
		}
		u, _ := uidOf(b)
		return u, nil
	case n < uidSingle:
		return UID{}, fmt.Errorf("%d digits, a UID has at least 4 bytes", n)
	case n > 2*uidTriple:
		return UID{}, fmt.Errorf("%d digits, a UID has at most 10 bytes", n)
	case n == 10 && digits[0] == '0' && token == digits:
		// A first byte of 0 is no manufacturer's, so this is no unpadded UID of
		// seven bytes: the print is padded, and of a size that does not exist.
		return UID{}, errors.New("5 bytes, a UID has 4, 7 or 10")
	}
	return UID{}, errReadings
}

// separatedUID reads values that something stands between.
func separatedUID(tokens []string, comma bool) (UID, error) {
	var (
		prefixed, letters, wide, short int
		decimal                        = true // every value fits a decimal reading
	)
	for i, t := range tokens {
		if d, ok := strings.CutPrefix(t, "0X"); ok {
			prefixed++
			tokens[i], t = d, d
		}
		switch {
		case t == "" || strings.Contains(t, "X"):
			return UID{}, errors.New("a value without digits")
		case len(t) == 1:
			short++
		case len(t) == 3 && !strings.HasPrefix(t, "00"):
			wide++ // no byte in hexadecimal: 010 is ten, 145 is 145
		}
		if strings.ContainsAny(t, "ABCDEF") {
			letters++
		}
		if n, err := strconv.ParseUint(t, 10, 16); err != nil || n > 0xFF || len(t) > 3 {
			decimal = false
		}
	}
	if paired, ok := pairsJoined(tokens); ok && prefixed == 0 {
		return joinedUID(paired)
	}
	switch {
	case prefixed > 0 && prefixed < len(tokens):
		return UID{}, errors.New("0x before some of the values only")
	case prefixed > 0 || letters > 0:
		return valuesUID(tokens, 16)
	case !decimal:
		return valuesUID(tokens, 16)
	case wide > 0 || comma:
		return valuesUID(tokens, 10)
	case short == 0 && allLen(tokens, 2):
		return valuesUID(tokens, 16) // pairs; what prints decimals does not pad them to two
	}
	if _, err := valuesUID(tokens, 16); err != nil {
		return valuesUID(tokens, 10)
	}
	if _, err := valuesUID(tokens, 10); err != nil {
		return valuesUID(tokens, 16)
	}
	return UID{}, errReadings
}

// pairsJoined joins pairs of which some lack the blank between, as where a
// firmware prints either a blank or a 0 before each byte: "5C0A 91 E3".
func pairsJoined(tokens []string) (string, bool) {
	long := false
	for _, t := range tokens {
		if len(t)%2 != 0 {
			return "", false
		}
		for i := 2; i < len(t); i += 2 {
			long = true
			if t[i] != '0' {
				return "", false
			}
		}
	}
	joined := strings.Join(tokens, "")
	n := len(joined)
	return joined, long && (n == 2*uidSingle || n == 2*uidDouble || n == 2*uidTriple)
}

// valuesUID reads one byte a token.
func valuesUID(tokens []string, base int) (UID, error) {
	b := make([]byte, 0, uidTriple)
	for _, t := range tokens {
		n, err := strconv.ParseUint(t, base, 8)
		if err != nil || len(t) > 3 {
			return UID{}, fmt.Errorf("value %q is no byte", t)
		}
		b = append(b, byte(n))
	}
	if len(b) == uidSingle+1 {
		if check := BCC(b[:uidSingle]); check != b[uidSingle] {
			return UID{}, fmt.Errorf("check byte %02X, want %02X", b[uidSingle], check)
		}
		b = b[:uidSingle]
	}
	u, ok := uidOf(b)
	if !ok {
		return UID{}, fmt.Errorf("%d bytes, a UID has 4, 7 or 10", len(b))
	}
	return u, nil
}

func allLen(tokens []string, n int) bool {
	for _, t := range tokens {
		if len(t) != n {
			return false
		}
	}
	return true
}
