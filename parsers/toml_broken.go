package parsers

import (
	"cmp"
	"errors"
	"regexp"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// BrokenTOML says in one line where and why a text could not be decoded: err is what
// the reader of TOML returned, file names the text. The error is a *ProfileError.
func BrokenTOML(file string, err error) error {
	broken := &ProfileError{File: file}
	reason := oneLine(strings.TrimPrefix(err.Error(), "toml: "))
	if pe, ok := errors.AsType[toml.ParseError](err); ok {
		broken.Line, broken.Field = pe.Position.Line, pe.LastKey
		reason = cmp.Or(oneLine(pe.Message), reason)
	} else if m := wrongType.FindStringSubmatch(reason); m != nil {
		broken.Line, _ = strconv.Atoi(m[1])
		broken.Field, reason = m[2], m[3]
		if m := typePair.FindStringSubmatch(reason); m != nil {
			reason = plainType(m[2]) + " is wanted, not " + plainType(m[1])
		}
	}
	broken.Err = errors.New(reason)
	return broken
}

// How the reader of TOML says in words where a value has the wrong type, and which two.
var (
	wrongType = regexp.MustCompile(`^line (\d+) \(last key "([^"]*)"\): (.*)$`)
	typePair  = regexp.MustCompile(`^incompatible types: TOML value has type (\S+); destination has type (\S+)`)
)

// plainType is a type for somebody who writes no programs.
func plainType(name string) string {
	switch name {
	case "string":
		return `a text in "quotes"`
	case "int64", "integer":
		return "a whole number"
	case "float64", "float":
		return "a number"
	case "bool", "boolean":
		return "true or false"
	case "map":
		return "a [table]"
	case "slice":
		return "a list in [brackets]"
	}
	return "a value of type " + name
}
