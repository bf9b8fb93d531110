package parsers

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// Bounds of a profile file.
const (
	maxProfileBytes = 1 << 20
	maxProfileLines = 5000
)

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
	Rows   bool                         `toml:"rows"`
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

// errNoLine is a profile that says nothing.
var errNoLine = errors.New("no [[line]] in it")

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
		return nil, BrokenTOML(name, err)
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
		return nil, l.at(0, "line", errNoLine)
	case len(t.Line) > maxProfileLines:
		return nil, l.at(0, "line", fmt.Errorf("%d lines, at most %d", len(t.Line), maxProfileLines))
	}
	var prefixes []*pattern
	for _, says := range t.Prefix {
		pat, err := parsePattern(says, nil)
		if err == nil && slices.ContainsFunc(pat.values, func(h *placeholder) bool { return h.typ == typeRest }) {
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

// compile makes the automata and looks for overlaps.
func (l *profileLoader) compile(p *Profile, prefixes []*pattern) error {
	// The reader of a line's values must accept what the automaton does.
	for _, pat := range p.patterns {
		pat.allowPrefix(prefixes)
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
	for state, matches := range p.match.accept {
		if len(matches) > 1 {
			p.match.accept[state] = p.ordered(matches)
		}
	}
	p.sayings = make([]saying, len(p.patterns))
	for i, pat := range p.patterns {
		line := p.lines[p.owner[i]]
		p.sayings[i] = newSaying(p, line, pat)
		p.inherits = p.inherits || line.inherit
	}
	p.start, err = p.startText()
	if err != nil {
		return l.at(0, "", err)
	}
	return nil
}
