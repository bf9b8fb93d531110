package parsers

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A UIDForm says how a firmware prints its UIDs, where the print alone leaves it
// open. The zero value knows nothing.
type UIDForm string

// The forms that a wording profile can declare.
const (
	FormOpen            UIDForm = ""                 // as ParseUID reads it
	FormHex             UIDForm = "hex"              // hexadecimal per byte, even if all digits are decimal
	FormDecimal         UIDForm = "decimal"          // decimal per byte; a leading 0 is no octal
	FormNumber          UIDForm = "number"           // four bytes as one decimal number, first byte highest
	FormNumberCheck     UIDForm = "number-check"     // five bytes with the check byte, as one decimal number
	FormNumberCheckBack UIDForm = "number-check-low" // the same with the first byte lowest
	FormReversed        UIDForm = "reversed"         // as ParseUID reads it, the last byte first
)

// known reports whether f is a form.
func (f UIDForm) known() bool {
	return slices.Contains([]UIDForm{FormOpen, FormHex, FormDecimal, FormNumber, FormNumberCheck, FormNumberCheckBack, FormReversed}, f)
}

// ParseUIDForm reads a print whose form is known, as a profile declares it.
func ParseUIDForm(text string, form UIDForm) (UID, error) {
	if form == FormOpen {
		return ParseUID(text)
	}
	if len(text) > maxUIDPrint {
		return UID{}, fmt.Errorf("uid: %d bytes of text, at most %d", len(text), maxUIDPrint)
	}
	u, err := parseForm(text, form)
	if err != nil {
		return UID{}, fmt.Errorf("uid %q as %s: %w", text, string(form), err)
	}
	return u, nil
}

func parseForm(text string, form UIDForm) (UID, error) {
	if form == FormReversed {
		u, err := ParseUID(text)
		if err != nil || u.Ambiguous() {
			return u, err
		}
		b := u.Bytes()
		slices.Reverse(b)
		u, _ = uidOf(b)
		return u, nil
	}
	_, tokens, err := uidTokens(text)
	if err != nil {
		return UID{}, err
	}
	for i, t := range tokens {
		tokens[i] = strings.TrimPrefix(t, "0X")
	}
	switch form {
	case FormHex:
		if len(tokens) == 1 {
			return joinedUID(tokens[0])
		}
		return valuesUID(tokens, 16)
	case FormDecimal:
		return valuesUID(tokens, 10)
	case FormNumber, FormNumberCheck, FormNumberCheckBack:
		return numberUID(tokens, form)
	}
	return UID{}, fmt.Errorf("no such form")
}

// numberUID reads a whole UID printed as one decimal number.
func numberUID(tokens []string, form UIDForm) (UID, error) {
	size := uidSingle
	if form != FormNumber {
		size++
	}
	if len(tokens) != 1 {
		return UID{}, fmt.Errorf("%d values, want one", len(tokens))
	}
	n, err := strconv.ParseUint(tokens[0], 10, 8*size)
	if err != nil {
		return UID{}, fmt.Errorf("want a number of %d bytes", size)
	}
	b := make([]byte, size)
	for i := range b {
		b[size-1-i] = byte(n >> (8 * i))
	}
	if form == FormNumberCheckBack {
		slices.Reverse(b)
	}
	if size > uidSingle {
		if check := BCC(b[:uidSingle]); check != b[uidSingle] {
			return UID{}, fmt.Errorf("check byte %02X, want %02X", b[uidSingle], check)
		}
	}
	u, _ := uidOf(b[:uidSingle])
	return u, nil
}
