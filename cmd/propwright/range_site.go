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

// mostRangeFile bounds a list of spacers or a coil's description in bytes.
const mostRangeFile = 1 << 17

// siteRanging is the range check with what a site's folder says of spacers and coils;
// a file that is not there leaves the usual.
func siteRanging(site string) (r reach.Range, err error) {
	path := filepath.Join(site, reach.SpacerFile)
	text, err := readIfThere("spacers", path)
	if err != nil {
		return r, err
	}
	if text != nil {
		if r.Spacers, err = reach.ParseSpacers(path, text); err != nil {
			return r, toolError{err: err, try: `use = "cards" for blank cards of 0.76 mm, or a [[spacer]] with name, thick_mm, tolerance_mm, count and material`}
		}
	}
	path = filepath.Join(site, reach.CoilFile)
	if text, err = readIfThere("coil", path); err != nil || text == nil {
		return r, err
	}
	coil, err := reach.ParseCoil(path, text)
	if err != nil {
		return r, toolError{err: err, try: tryCoil}
	}
	r.Coil = &coil
	return r, nil
}

const tryCoil = "width_mm and height_mm, or radius_mm, with turns and current_ma"

// readIfThere reads a small file of a site; nil where it is not there.
func readIfThere(what, path string) ([]byte, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("%s %q", what, path), err: withoutPath(err)}
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, mostRangeFile))
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("%s %q", what, path), err: withoutPath(err)}
	}
	return text, nil
}
