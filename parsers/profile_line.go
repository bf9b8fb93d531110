package parsers

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// newProfileLine checks one line. field names the key that is wrong.
func newProfileLine(t *lineTOML) (l *profileLine, field string, err error) {
	l = &profileLine{id: t.ID, kind: Kind(t.Kind), before: t.Before, fields: fieldsOf(t.Fields), wins: map[int]bool{}}
	switch {
	case l.kind.Host():
		return nil, "kind", fmt.Errorf("%q: only the computer itself states that", t.Kind)
	case !l.kind.known():
		return nil, "kind", fmt.Errorf("%q: no such kind", clip(t.Kind))
	case len(t.Says) == 0:
		return nil, "says", errors.New("missing")
	}
	if t.UID == "before" {
		l.inherit = true
	} else if l.form = UIDForm(t.UID); !l.form.known() {
		return nil, "uid", fmt.Errorf("%q: no such form", clip(t.UID))
	}
	for name, texts := range t.Values {
		if name == "uid" || name == "reader" || len(texts) == 0 {
			return nil, "values", fmt.Errorf("%q: takes no list of values", clip(name))
		}
		for text := range texts {
			if strings.TrimSpace(text) == "" {
				return nil, "values", fmt.Errorf("%q: a text is empty", clip(name))
			}
		}
	}
	for _, says := range t.Says {
		pat, err := parsePattern(says, t.Values)
		if err != nil {
			return nil, "says", fmt.Errorf("%q: %w", clip(says), err)
		}
		l.patterns = append(l.patterns, pat)
	}
	if t.Next != "" {
		if l.next, err = parsePattern(t.Next, t.Values); err != nil {
			return nil, "next", fmt.Errorf("%q: %w", clip(t.Next), err)
		}
	}
	if l.rows = t.Rows; l.rows && l.next == nil {
		return nil, "rows", errors.New("says how next stands, and there is no next")
	}
	return l, "fields", l.checkFields()
}

// checkFields refuses a field that two parts of the line would set, and a setting
// without name or value.
func (l *profileLine) checkFields() error {
	for _, f := range l.fields {
		if !fieldName(f.name) || f.name == "uid" || f.name == "reader" {
			return fmt.Errorf("%q: cannot be fixed", clip(f.name))
		}
	}
	for _, pat := range l.patterns {
		has := map[string]bool{}
		for _, f := range l.fields {
			has[f.name] = true
		}
		holds := pat.values
		if l.next != nil {
			holds = slices.Concat(holds, l.next.values)
		}
		for _, h := range holds {
			if has[h.name] && h.name != "_" {
				return fmt.Errorf("%q: set twice", h.name)
			}
			has[h.name] = true
		}
		if l.kind == KindSetting {
			for _, name := range []string{"name", "value"} {
				if !has[name] {
					return fmt.Errorf("a setting needs a %s", name)
				}
			}
		}
	}
	return nil
}
