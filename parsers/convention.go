package parsers

import (
	"errors"
	"fmt"
	"strings"
)

// readConvention reads a line of the open line convention: "@KIND key=value
// key=value". Kinds and keys are those of the events; reader is the reader's index
// on any line. A value with blanks, or an empty one, stands in double quotes, in
// which a backslash makes the next byte stand for itself.
//
// ok is false for text that is no line of the convention, a kind that it does not
// know included, for later versions may know more. An error means a line of it
// with a broken value.
func readConvention(raw []byte) (r reading, ok bool, err error) {
	if at := skipBlanks(raw, 0); at == len(raw) || raw[at] != '@' {
		return reading{}, false, nil
	}
	text := strings.Trim(string(raw), " \t")
	name, rest, _ := strings.Cut(text, " ")
	kind := Kind(strings.ToLower(name[1:]))
	if !kind.known() || kind.Host() {
		return reading{}, false, nil
	}
	r = reading{kind: kind, reader: NoReader}
	for {
		rest = strings.TrimLeft(rest, " \t")
		if rest == "" {
			break
		}
		var key, value string
		if key, value, rest, err = conventionPair(rest); err != nil {
			return reading{}, false, err
		}
		if r.fields.has(key) || (key == "reader" && r.reader != NoReader) {
			return reading{}, false, fmt.Errorf("field %s: stands twice", key)
		}
		if value, err = conventionValue(kind, key, value); err != nil {
			return reading{}, false, fmt.Errorf("field %s: %w", key, err)
		}
		if err := r.set(key, value); err != nil {
			return reading{}, false, err
		}
	}
	if kind == KindSetting && (r.fields.get("name") == "" || r.fields.get("value") == "") {
		return reading{}, false, errors.New("a setting needs a name and a value")
	}
	return r, true, nil
}

// conventionPair takes the first key=value off a text.
func conventionPair(text string) (key, value, rest string, err error) {
	key, rest, ok := strings.Cut(text, "=")
	if !ok || !fieldName(key) {
		return "", "", "", fmt.Errorf("%q: want key=value", clip(text))
	}
	if !strings.HasPrefix(rest, `"`) {
		end := strings.IndexAny(rest, " \t")
		if end < 0 {
			end = len(rest)
		}
		return key, fieldText([]byte(rest[:end])), rest[end:], nil
	}
	var b strings.Builder
	for i := 1; i < len(rest); i++ {
		switch c := rest[i]; {
		case c == '\\' && i+1 < len(rest):
			i++
			b.WriteByte(rest[i])
		case c == '"':
			rest = rest[i+1:]
			if rest != "" && rest[0] != ' ' && rest[0] != '\t' {
				return "", "", "", fmt.Errorf("field %s: text behind the closing quote", key)
			}
			return key, fieldText([]byte(b.String())), rest, nil
		default:
			b.WriteByte(c)
		}
	}
	return "", "", "", fmt.Errorf("field %s: no closing quote", key)
}

// conventionValue brings the values that have a type into the form that all
// wordings share.
func conventionValue(kind Kind, key, value string) (string, error) {
	h := placeholder{name: key}
	switch {
	case key == "version" && kind == KindReaderVersion:
		h.typ = typeHex8
	case key == "coil":
		h.typ = typeDec
	case kind == KindAddress && key == "mac":
		h.typ = typeMAC
	case kind == KindAddress && (key == "ip" || key == "mask" || key == "gateway"):
		h.typ = typeIP
	default:
		return value, nil
	}
	return h.value([]byte(value), FormOpen)
}
