package parsers

import (
	"slices"
	"strings"
)

// A field is one thing that a line holds.
type field struct{ name, value string }

// fields are sorted by name, each name once. Those of an event are shared and never
// changed.
type fields []field

// fieldsOf makes fields of a map.
func fieldsOf(m map[string]string) fields {
	if len(m) == 0 {
		return nil
	}
	f := make(fields, 0, len(m))
	for name, value := range m {
		f = append(f, field{name, value})
	}
	slices.SortFunc(f, func(a, b field) int { return strings.Compare(a.name, b.name) })
	return f
}

// get is the value of a name, "" where there is none.
func (f fields) get(name string) string {
	for i := range f {
		if f[i].name == name {
			return f[i].value
		}
	}
	return ""
}

// has reports whether there is a field of a name.
func (f fields) has(name string) bool {
	return slices.ContainsFunc(f, func(x field) bool { return x.name == name })
}

// with returns the fields with one more, or with another value of it. What f shares
// with others stays as it is unless f has room of its own.
func (f fields) with(name, value string) fields {
	at := 0
	for at < len(f) && f[at].name < name {
		at++
	}
	if at < len(f) && f[at].name == name {
		f = slices.Clone(f)
		f[at].value = value
		return f
	}
	return slices.Insert(f, at, field{name, value})
}

// mapped is a map of the fields, nil where there are none.
func (f fields) mapped() map[string]string {
	if len(f) == 0 {
		return nil
	}
	m := make(map[string]string, len(f))
	for _, x := range f {
		m[x.name] = x.value
	}
	return m
}
