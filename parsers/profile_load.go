package parsers

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// Bounds of a profile file.
const (
	maxProfileBytes = 1 << 20
	maxProfileLines = 5000
)

// A ProfileError reports a profile that cannot be used.
type ProfileError struct {
	File  string
	Line  int    // in the file, from 1; 0 where the file as a whole is meant
	Field string // key, "" where the text as such is broken
	Err   error
}

// Error is one line: file, line, field and reason.
func (e *ProfileError) Error() string {
	where := e.File
	if e.Line > 0 {
		where = fmt.Sprintf("%s:%d", e.File, e.Line)
	}
	if e.Field != "" {
		where += ": field " + e.Field
	}
	return fmt.Sprintf("%s: %v", where, e.Err)
}

// Unwrap is the reason.
func (e *ProfileError) Unwrap() error { return e.Err }

// An OverlapError reports two lines of a profile that both match a text, without
// a word in the profile on which goes first.
type OverlapError struct {
	A, B string // what the two lines say
	Text string // a text that both match
}

// Error names both lines and the text.
func (e *OverlapError) Error() string {
	return fmt.Sprintf("%q and %q both match %q; let one of them go before the other", e.A, e.B, e.Text)
}

// profileTOML is a profile as its file has it.
type profileTOML struct {
	Name   string     `toml:"name"`
	About  string     `toml:"about"`
	Reads  string     `toml:"reads"`
	Prefix stringList `toml:"prefix"`
	Line   []lineTOML `toml:"line"`
}

type lineTOML struct {
	ID     string                       `toml:"id"`
	Kind   string                       `toml:"kind"`
	Says   stringList                   `toml:"says"`
	Next   string                       `toml:"next"`
	Before stringList                   `toml:"before"`
	UID    string                       `toml:"uid"`
	Fields map[string]string            `toml:"fields"`
	Values map[string]map[string]string `toml:"values"`
}

// stringList is a list in which a single string may stand for a list of one.
type stringList []string

// UnmarshalTOML takes a string or an array of strings.
func (l *stringList) UnmarshalTOML(v any) error {
	switch v := v.(type) {
	case string:
		*l = stringList{v}
		return nil
	case []any:
		for _, e := range v {
			s, ok := e.(string)
			if !ok {
				return errors.New("want a string or a list of strings")
			}
			*l = append(*l, s)
		}
		return nil
	}
	return errors.New("want a string or a list of strings")
}

// LoadProfile reads a wording profile from TOML. name is the file's name, for
// messages. Errors are *ProfileError and name file, line and field; two lines that
// match the same text without declared precedence are an *OverlapError in one.
func LoadProfile(name string, r io.Reader) (*Profile, error) {
	source, err := io.ReadAll(io.LimitReader(r, maxProfileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	l := profileLoader{file: name, source: source}
	if len(source) > maxProfileBytes {
		return nil, l.at(0, "", fmt.Errorf("more than %d bytes", maxProfileBytes))
	}
	var t profileTOML
	meta, err := toml.Decode(string(source), &t)
	if err != nil {
		return nil, l.broken(err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		key := unknown[0].String()
		return nil, l.at(l.keyLine(unknown[0]), key, errors.New("no such key"))
	}
	return l.profile(&t)
}

// profileLoader knows where in the file things stand.
type profileLoader struct {
	file   string
	source []byte
}

func (l *profileLoader) at(line int, field string, err error) error {
	return &ProfileError{File: l.file, Line: line, Field: field, Err: err}
}

// broken says where the text is no TOML, or a key has the wrong type.
func (l *profileLoader) broken(err error) error {
	if pe, ok := errors.AsType[toml.ParseError](err); ok {
		reason := pe.Message
		if reason == "" {
			reason = strings.TrimPrefix(pe.Error(), "toml: ")
		}
		return l.at(pe.Position.Line, pe.LastKey, errors.New(oneLine(reason)))
	}
	return l.at(0, "", errors.New(oneLine(strings.TrimPrefix(err.Error(), "toml: "))))
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// lineNumber is the line of the n-th [[line]] header, or of a key below it where
// there is one. The TOML reader does not tell positions of what it has read.
func (l *profileLoader) lineNumber(n int, key string) int {
	header, seen := 0, -1
	for i, text := range bytes.Split(l.source, []byte("\n")) {
		text = bytes.TrimSpace(text)
		if bytes.HasPrefix(text, []byte("[[line]]")) {
			if seen == n {
				break
			}
			seen++
			header = i + 1
			continue
		}
		k, _, ok := bytes.Cut(text, []byte("="))
		if ok && seen == n && key != "" && string(bytes.TrimSpace(k)) == key {
			return i + 1
		}
	}
	return header
}

// keyLine is a line on which an unknown key stands.
func (l *profileLoader) keyLine(key toml.Key) int {
	last := key[len(key)-1]
	for i, text := range bytes.Split(l.source, []byte("\n")) {
		text = bytes.TrimLeft(bytes.TrimSpace(text), "[")
		if bytes.HasPrefix(text, []byte(last)) || bytes.HasPrefix(text, []byte(key.String())) {
			return i + 1
		}
	}
	return 0
}

func (l *profileLoader) profile(t *profileTOML) (*Profile, error) {
	p := &Profile{name: t.Name, about: t.About, source: l.source}
	switch {
	case !fieldName(t.Name):
		return nil, l.at(0, "name", fmt.Errorf("%q: want a name of a-z, 0-9, - and _", clip(t.Name)))
	case t.Reads == "convention" && len(t.Line) == 0 && len(t.Prefix) == 0:
		p.convention = true
		return p, nil
	case t.Reads != "":
		return nil, l.at(0, "reads", fmt.Errorf("%q: want \"convention\" and no lines, or leave it out", clip(t.Reads)))
	case len(t.Line) == 0:
		return nil, l.at(0, "line", errors.New("no [[line]] in it"))
	case len(t.Line) > maxProfileLines:
		return nil, l.at(0, "line", fmt.Errorf("%d lines, at most %d", len(t.Line), maxProfileLines))
	}
	var prefixes []*pattern
	for _, says := range t.Prefix {
		pat, err := parsePattern(says, nil)
		if err == nil && slices.ContainsFunc(pat.holds(), func(h *placeholder) bool { return h.typ == typeRest }) {
			err = errors.New("a prefix cannot hold a rest")
		}
		if err != nil {
			return nil, l.at(l.keyLine(toml.Key{"prefix"}), "prefix", err)
		}
		prefixes = append(prefixes, pat)
	}
	for i := range t.Line {
		line, field, err := newProfileLine(&t.Line[i])
		if err != nil {
			return nil, l.at(l.lineNumber(i, field), field, err)
		}
		p.lines = append(p.lines, line)
		for _, pat := range line.patterns {
			p.patterns = append(p.patterns, pat)
			p.owner = append(p.owner, i)
		}
	}
	if err := l.precedence(p); err != nil {
		return nil, err
	}
	if err := l.compile(p, prefixes); err != nil {
		return nil, err
	}
	return p, nil
}

// newProfileLine checks one line. field names the key that is wrong.
func newProfileLine(t *lineTOML) (l *profileLine, field string, err error) {
	l = &profileLine{id: t.ID, kind: Kind(t.Kind), before: t.Before, fields: t.Fields, wins: map[int]bool{}}
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
	return l, "fields", l.checkFields()
}

// checkFields refuses a field that two parts of the line would set, and a setting
// without name or value.
func (l *profileLine) checkFields() error {
	for name := range l.fields {
		if !fieldName(name) || name == "uid" || name == "reader" {
			return fmt.Errorf("%q: cannot be fixed", clip(name))
		}
	}
	for _, pat := range l.patterns {
		has := maps.Clone(l.fields)
		if has == nil {
			has = map[string]string{}
		}
		holds := pat.holds()
		if l.next != nil {
			holds = append(holds, l.next.holds()...)
		}
		for _, h := range holds {
			if _, twice := has[h.name]; twice && h.name != "_" {
				return fmt.Errorf("%q: set twice", h.name)
			}
			has[h.name] = ""
		}
		if l.kind == KindSetting {
			for _, name := range []string{"name", "value"} {
				if _, ok := has[name]; !ok {
					return fmt.Errorf("a setting needs a %s", name)
				}
			}
		}
	}
	return nil
}

// precedence resolves what lines say of each other, transitively.
func (l *profileLoader) precedence(p *Profile) error {
	named := map[string][]int{}
	for i, line := range p.lines {
		if line.id != "" {
			named[line.id] = append(named[line.id], i)
		}
		for _, pat := range line.patterns {
			if !slices.Contains(named[pat.says], i) {
				named[pat.says] = append(named[pat.says], i)
			}
		}
	}
	for i, line := range p.lines {
		for _, name := range line.before {
			others, ok := named[name]
			if !ok {
				return l.at(l.lineNumber(i, "before"), "before", fmt.Errorf("%q: no line says that or has it as id", clip(name)))
			}
			for _, j := range others {
				line.wins[j] = true
			}
		}
	}
	for changed := true; changed; {
		changed = false
		for _, line := range p.lines {
			for j := range maps.Clone(line.wins) {
				for k := range p.lines[j].wins {
					if !line.wins[k] {
						line.wins[k], changed = true, true
					}
				}
			}
		}
	}
	for i, line := range p.lines {
		if line.wins[i] {
			return l.at(l.lineNumber(i, "before"), "before", errors.New("goes before itself"))
		}
	}
	return nil
}

// compile makes the automata and looks for overlaps.
func (l *profileLoader) compile(p *Profile, prefixes []*pattern) error {
	// The reader of a line's values must accept what the automaton does.
	for _, pat := range p.patterns {
		if err := pat.allowPrefix(prefixes); err != nil {
			return l.at(0, "prefix", err)
		}
	}
	n, err := newNFA(prefixes, p.patterns)
	if err != nil {
		return l.at(0, "", err)
	}
	if p.match, err = newDFA(n); err != nil {
		return l.at(0, "", err)
	}
	if i, field, err := p.overlap(); err != nil {
		return l.at(l.lineNumber(i, field), field, err)
	}
	p.start, err = p.startText()
	if err != nil {
		return l.at(0, "", err)
	}
	return nil
}
