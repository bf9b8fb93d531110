package parsers

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"
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
	says      string
	elements  []element
	stretches []stretch
	values    []*placeholder // in order
	prefixes  []*pattern     // that may stand before it
	plain     bool           // values can be found without an expression,
	avoid     [][]byte       // in a line that has none of these signs
	before    []*pattern     // and that begins with one of these prefixes or none
	once      sync.Once      // for what full makes
	made      *regexp.Regexp
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

// finish checks the whole and makes ready to find values.
func (p *pattern) finish() error {
	if len(p.elements) == 0 {
		return errors.New("says nothing")
	}
	for _, e := range p.elements[:len(p.elements)-1] {
		if e.hold != nil && e.hold.typ == typeRest {
			return errors.New("a placeholder of type rest must be the last thing in the text")
		}
	}
	p.divide()
	return nil
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

// allowPrefix makes the pattern's values be found behind one of the prefixes too.
func (p *pattern) allowPrefix(prefixes []*pattern) {
	p.simplify(prefixes)
	p.prefixes = prefixes
}

// full is the whole line as an expression, with a group a placeholder. It is made when
// it is first asked for, as it is for few. It is made of the types' expressions and of
// single letters, none of which the library refuses.
func (p *pattern) full() *regexp.Regexp {
	p.once.Do(func() {
		var before string
		if len(p.prefixes) > 0 {
			var alternatives []string
			for _, pre := range p.prefixes {
				alternatives = append(alternatives, pre.expression(false))
			}
			before = `(?:(?:` + strings.Join(alternatives, "|") + `)[ \t]*)?`
		}
		p.made = regexp.MustCompile(`^[ \t]*` + before + p.expression(true) + `[ \t]*$`)
	})
	return p.made
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
