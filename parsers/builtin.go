package parsers

import (
	"bytes"
	"embed"
	"fmt"
	"strings"
)

//go:embed profiles/*.toml
var builtinFiles embed.FS

// Names of the built-in wordings.
const (
	WordingConvention    = "convention"     // the open line convention
	WordingPlain         = "plain"          // plain English
	WordingReaderLibrary = "reader-library" // example programs of open reader libraries
)

// Builtin returns the names of the built-in wordings, in the order in which Auto
// tries them.
func Builtin() []string {
	return []string{WordingConvention, WordingPlain, WordingReaderLibrary}
}

// BuiltinProfile loads a built-in wording by name. It takes some milliseconds;
// callers keep what they got.
func BuiltinProfile(name string) (*Profile, error) {
	file := "profiles/" + name + ".toml"
	source, err := builtinFiles.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("wording %q: none of the built-in ones (%s)", clip(name), strings.Join(Builtin(), ", "))
	}
	return LoadProfile(file, bytes.NewReader(source))
}

// Auto loads all built-in wordings, in the order of Builtin. A stream with all of
// them asks each in turn about every line.
func Auto() ([]*Profile, error) {
	var profiles []*Profile
	for _, name := range Builtin() {
		p, err := BuiltinProfile(name)
		if err != nil {
			return nil, err
		}
		profiles = append(profiles, p)
	}
	return profiles, nil
}
