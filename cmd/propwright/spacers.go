package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"propwright/checklist/reach"
)

// mostSpacerFile bounds a list of spacers in bytes; a longer one is refused.
const mostSpacerFile = 1 << 17

// siteSpacers are the spacers of a site, by spacers.toml in its folder; the zero value,
// which stands for blank cards, where it has none.
func siteSpacers(site string) (reach.Set, error) {
	path := filepath.Join(site, reach.SpacerFile)
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return reach.Set{}, nil
	}
	if err != nil {
		return reach.Set{}, toolError{what: fmt.Sprintf("spacers %q", path), err: withoutPath(err)}
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, mostSpacerFile))
	if err != nil {
		return reach.Set{}, toolError{what: fmt.Sprintf("spacers %q", path), err: withoutPath(err)}
	}
	set, err := reach.ParseSpacers(path, text)
	if err != nil {
		return reach.Set{}, toolError{err: err, try: `use = "cards" for blank cards of 0.76 mm, or a [[spacer]] with name, thick_mm, tolerance_mm, count and material`}
	}
	return set, nil
}
