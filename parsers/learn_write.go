package parsers

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// A Lesson is a shape and what it was said to report; no kind for a line that reports
// nothing.
type Lesson struct {
	Shape
	As Kind
}

// Times is how often lines of the shape came, in words.
func (s Shape) Times() string {
	if s.Count == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", s.Count)
}

// leftOut begins the remark on a shape that reports nothing; learning again reads it.
const leftOut = "# left out: "

// LeftOut are the shapes that a learned file says to report nothing, by what they say.
func LeftOut(file []byte) map[string]bool {
	out := map[string]bool{}
	for line := range bytes.Lines(file) {
		if says, ok := bytes.CutPrefix(bytes.TrimSpace(line), []byte(leftOut)); ok {
			out[string(says)] = true
		}
	}
	return out
}

// AppendLessons writes lessons behind a profile's text, which is kept as it is; file is
// its name, for messages, and name the profile's, for a text that is empty. Each line
// is tried as it is added: one that the profile does not take is written as a remark
// with the reason, and returned among the refused.
func AppendLessons(file, name string, text []byte, lessons []Lesson) (out []byte, refused []Lesson, err error) {
	if len(bytes.TrimSpace(text)) == 0 {
		if !fieldName(name) {
			return nil, nil, &ProfileError{File: file, Field: "name", Err: fmt.Errorf("%q: want a name of a-z, 0-9, - and _", clip(name))}
		}
		text = fmt.Appendf(nil, "name = %s\nabout = \"learned from a capture\"\n", quoted(name))
	} else if _, err := loadBegun(file, text); err != nil {
		return nil, nil, err
	}
	out = bytes.Clone(text)
	if !bytes.HasSuffix(out, []byte("\n")) {
		out = append(out, '\n')
	}
	for _, l := range lessons {
		remark := fmt.Sprintf("\n# seen %s, first in line %d: %s\n", l.Times(), l.Line, Printable(l.Example))
		if l.As == "" {
			out = append(out, remark+leftOut+l.Says+"\n"...)
			continue
		}
		line, reason := l.fit(file, out)
		if line == "" {
			refused = append(refused, l)
			out = append(out, remark+leftOut+l.Says+"\n# as "+string(l.As)+" it does not fit: "+oneLine(reason)+"\n"...)
			continue
		}
		out = append(out, remark+line...)
	}
	return out, refused, nil
}

// fit is the lesson as a line that the profile takes, "" and the reason where it takes
// none. Where another line that has an id may mean the same text, the one that leaves
// less open goes first.
func (l Lesson) fit(file string, profile []byte) (line, reason string) {
	known, err := loadBegun(file, profile)
	if err != nil {
		return "", err.Error()
	}
	id := fmt.Sprintf("%s-%d", l.As, len(known.Lines())+1)
	var before []string
	for range len(known.Lines()) + 1 {
		line = l.line(id, before)
		_, err := LoadProfile(file, strings.NewReader(string(profile)+"\n"+line))
		if err == nil {
			return line, ""
		}
		reason = err.Error()
		overlap, ok := errors.AsType[*OverlapError](err)
		if !ok {
			return "", reason
		}
		other := known.idOf(overlap.A, overlap.B)
		if other == "" || slices.Contains(before, other) || literal(l.Says) < literal(overlap.A) || literal(l.Says) < literal(overlap.B) {
			return "", reason
		}
		before = append(before, other)
	}
	return "", reason
}

// loadBegun loads a profile that may have no line yet.
func loadBegun(file string, text []byte) (*Profile, error) {
	p, err := LoadProfile(file, bytes.NewReader(text))
	if errors.Is(err, errNoLine) {
		return &Profile{}, nil
	}
	return p, err
}

// idOf is the id of the line that says one of the texts, "" where that has none.
func (p *Profile) idOf(says ...string) string {
	for _, line := range p.Lines() {
		if slices.ContainsFunc(line.Says, func(s string) bool { return slices.Contains(says, s) }) {
			return line.ID
		}
	}
	return ""
}

// literal is how many letters a text has outside of its placeholders.
func literal(says string) int {
	n, hold := 0, false
	for i := range len(says) {
		switch c := says[i]; {
		case c == '{':
			hold = true
		case c == '}':
			hold = false
		case !hold && c > ' ':
			n++
		}
	}
	return n
}

func (l Lesson) line(id string, before []string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "[[line]]\nid = %s\nkind = %s\nsays = %s\n", quoted(id), quoted(string(l.As)), quoted(l.Says))
	if len(before) > 0 {
		var ids []string
		for _, other := range before {
			ids = append(ids, quoted(other))
		}
		fmt.Fprintf(&b, "before = [%s]\n", strings.Join(ids, ", "))
	}
	if l.As == l.Kind && len(l.Fields) > 0 {
		var fields []string
		for _, name := range slices.Sorted(maps.Keys(l.Fields)) {
			fields = append(fields, name+" = "+quoted(l.Fields[name]))
		}
		fmt.Fprintf(&b, "fields = { %s }\n", strings.Join(fields, ", "))
	}
	if l.As == KindCoilWritten && strings.Contains(l.Says, "{value}") {
		b.WriteString("[line.values.value]\n\"0\" = \"off\"\n\"1\" = \"on\"\n")
	}
	return b.String()
}

// quoted writes a TOML basic string of plain text.
func quoted(text string) string { return strconv.Quote(text) }
