package parsers

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// maxSays bounds one wording's text.
const maxSays = 400

// An element is a part of a wording: literal text, a run of blanks, or a
// placeholder.
type element struct {
	expr string // regular expression over bytes as Latin-1; also its identity
	lit  byte   // the byte that expr stands for, for literal text
	hold *placeholder
}

// A placeholder is a typed hole in a wording.
type placeholder struct {
	name   string // "_" where the text is of no interest
	typ    placeholderType
	values map[string]string // what a text of a closed list stands for; nil for other types
	order  [][]byte          // its texts as they are tried; nil where that is not simple
}

// A pattern is one wording: what a line says, taken apart.
type pattern struct {
	says     string
	elements []element
	full     *regexp.Regexp // the whole line, a group a placeholder
	plain    bool           // values can be found without it,
	avoid    [][]byte       // in a line that has none of these signs
	before   []*pattern     // prefixes that may stand before it
}

// parsePattern takes a wording apart. values are the closed lists of the line's
// placeholders, by placeholder name.
func parsePattern(says string, values map[string]map[string]string) (*pattern, error) {
	if len(says) > maxSays {
		return nil, fmt.Errorf("%d bytes long, at most %d", len(says), maxSays)
	}
	if !utf8.ValidString(says) {
		return nil, errors.New("not UTF-8")
	}
	p := &pattern{says: says}
	rest := strings.Trim(says, " \t")
	for rest != "" {
		i := strings.IndexAny(rest, "{}")
		switch {
		case i < 0:
			p.literal(rest)
			rest = ""
		case strings.HasPrefix(rest[i:], "{{"), strings.HasPrefix(rest[i:], "}}"):
			p.literal(rest[:i+1])
			rest = rest[i+2:]
		case rest[i] == '}':
			return nil, errors.New(`"}" without "{"; write "}}" for the sign itself`)
		default:
			p.literal(rest[:i])
			end := strings.IndexByte(rest[i:], '}')
			if end < 0 {
				return nil, errors.New(`"{" without "}"; write "{{" for the sign itself`)
			}
			if err := p.placeholder(rest[i+1:i+end], values); err != nil {
				return nil, err
			}
			rest = rest[i+end+1:]
		}
	}
	return p, p.finish()
}

// literal adds text that must stand there: letters in either case, blanks as
// runs of any length.
func (p *pattern) literal(text string) {
	for text != "" {
		if n := len(text) - len(strings.TrimLeft(text, " \t")); n > 0 {
			p.elements = append(p.elements, element{expr: blankRun})
			text = text[n:]
			continue
		}
		p.elements = append(p.elements, element{expr: literalByte(text[0]), lit: text[0]})
		text = text[1:]
	}
}

const blankRun = `[ \t]+`

// literalByte matches one byte; a letter in either case.
func literalByte(c byte) string {
	switch {
	case 'a' <= c && c <= 'z':
		return "[" + string(c) + string(c-'a'+'A') + "]"
	case 'A' <= c && c <= 'Z':
		return "[" + string(c-'A'+'a') + string(c) + "]"
	}
	return fmt.Sprintf(`\x{%02X}`, c)
}

func (p *pattern) placeholder(text string, values map[string]map[string]string) error {
	name, typ, typed := strings.Cut(text, ":")
	if !fieldName(name) {
		return fmt.Errorf("placeholder %q: want a name of a-z, 0-9, - and _", text)
	}
	h := &placeholder{name: name, typ: placeholderType(typ)}
	list, listed := values[name]
	switch {
	case listed && typed:
		return fmt.Errorf("placeholder %q: has a list of values, so it takes no type", text)
	case listed:
		h.typ, h.values = typeListed, list
	case !typed && name == "uid":
		h.typ = typeUID
	case !typed:
		return fmt.Errorf("placeholder %q: has no type", text)
	case h.typ.expr() == "":
		return fmt.Errorf("placeholder %q: type %q: want one of %s", text, typ, typeNames())
	}
	if name == "uid" && h.typ != typeUID && h.typ != typePairs {
		return fmt.Errorf("placeholder %q: a uid has type uid or pairs", text)
	}
	if name == "reader" && h.typ != typeDec {
		return fmt.Errorf("placeholder %q: a reader index has type dec", text)
	}
	if n := len(p.elements); n > 0 && p.elements[n-1].hold != nil {
		return fmt.Errorf("placeholder %q: nothing stands between it and the one before", text)
	}
	for _, e := range p.elements {
		if e.hold != nil && e.hold.name == name && name != "_" {
			return fmt.Errorf("placeholder %q: stands twice", text)
		}
		if e.hold != nil && e.hold.typ == typeRest {
			return errors.New("a placeholder of type rest must be the last thing in the text")
		}
	}
	p.elements = append(p.elements, element{expr: h.expr(), hold: h})
	return nil
}

// finish checks the whole and makes the expression that finds the fields.
func (p *pattern) finish() error {
	if len(p.elements) == 0 {
		return errors.New("says nothing")
	}
	for _, e := range p.elements[:len(p.elements)-1] {
		if e.hold != nil && e.hold.typ == typeRest {
			return errors.New("a placeholder of type rest must be the last thing in the text")
		}
	}
	re, err := regexp.Compile(`^[ \t]*` + p.expression(true) + `[ \t]*$`)
	if err != nil {
		return fmt.Errorf("not to be compiled: %w", err)
	}
	p.full = re
	return nil
}

// holds returns the pattern's placeholders in order.
func (p *pattern) holds() []*placeholder {
	var hs []*placeholder
	for _, e := range p.elements {
		if e.hold != nil {
			hs = append(hs, e.hold)
		}
	}
	return hs
}

// expr is the placeholder's language as a regular expression without groups.
func (h *placeholder) expr() string {
	if h.typ != typeListed {
		return "(?:" + h.typ.expr() + ")"
	}
	var alternatives []string
	for _, text := range h.texts() {
		var lit pattern
		lit.literal(text)
		var b strings.Builder
		for _, e := range lit.elements {
			b.WriteString(e.expr)
		}
		alternatives = append(alternatives, b.String())
	}
	return "(?:" + strings.Join(alternatives, "|") + ")"
}

// texts are those of a closed list in the order in which they are tried: longer ones
// first, so that "off" is not read as "of" and a remainder.
func (h *placeholder) texts() []string {
	return slices.SortedFunc(maps.Keys(h.values), func(a, b string) int {
		if len(a) != len(b) {
			return len(b) - len(a)
		}
		return strings.Compare(a, b)
	})
}

// fieldName reports whether name may name a field.
func fieldName(name string) bool {
	if name == "" || len(name) > 40 {
		return false
	}
	for _, c := range []byte(name) {
		if !('a' <= c && c <= 'z' || '0' <= c && c <= '9' || c == '-' || c == '_') {
			return false
		}
	}
	return true
}

// allowPrefix makes the expression that finds the fields pass over one of the
// prefixes.
func (p *pattern) allowPrefix(prefixes []*pattern) error {
	p.simplify(prefixes)
	if len(prefixes) == 0 {
		return nil
	}
	var alternatives []string
	for _, pre := range prefixes {
		alternatives = append(alternatives, pre.expression(false))
	}
	expr := `^[ \t]*(?:(?:` + strings.Join(alternatives, "|") + `)[ \t]*)?` + p.expression(true) + `[ \t]*$`
	re, err := regexp.Compile(expr)
	if err != nil {
		return fmt.Errorf("not to be compiled: %w", err)
	}
	p.full = re
	return nil
}

// expression is the pattern as a regular expression, with a group a placeholder
// where told.
func (p *pattern) expression(groups bool) string {
	var b strings.Builder
	for _, e := range p.elements {
		if e.hold != nil && groups {
			b.WriteString("(" + e.expr + ")")
		} else {
			b.WriteString(e.expr)
		}
	}
	return b.String()
}
