package reach

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// SpacerFile is the name of the file in a site's folder that lists its spacers.
const SpacerFile = "spacers.toml"

// A spacerFile is what that file holds: a built-in set by name, or spacers.
type spacerFile struct {
	Use    string        `toml:"use"`
	Spacer []spacerEntry `toml:"spacer"`
}

type spacerEntry struct {
	Name      string  `toml:"name"`
	Thick     float64 `toml:"thick_mm"`
	Tolerance float64 `toml:"tolerance_mm"`
	Count     int     `toml:"count"`
	Material  string  `toml:"material"`
	Chip      bool    `toml:"chip"`
	// Measured is the whole pile of this kind, by a calliper that is good to Calliper
	// either way.
	Measured float64 `toml:"pile_mm"`
	Calliper float64 `toml:"calliper_mm"`
}

// What a spacer may be.
const (
	thinnestMM = 0.05
	thickestMM = 100.0
	mostPieces = 500
	mostKinds  = 8
)

// ParseSpacers reads a site's spacers. file names it in errors, which give the line
// where it is known, the spacer and its key.
func ParseSpacers(file string, text []byte) (Set, error) {
	var f spacerFile
	if err := decodeSiteFile(file, text, &f, "a spacer has name, thick_mm, tolerance_mm, count, material, chip, pile_mm and calliper_mm"); err != nil {
		return Set{}, err
	}
	switch {
	case f.Use != "" && len(f.Spacer) > 0:
		return Set{}, fmt.Errorf("%s: use %q: beside spacers of its own", file, f.Use)
	case f.Use != "":
		for _, s := range BuiltinSets() {
			if s.Name == f.Use {
				return s, nil
			}
		}
		return Set{}, fmt.Errorf("%s: use %q: not known, there are cards and sheets", file, f.Use)
	case len(f.Spacer) == 0:
		return Set{}, fmt.Errorf("%s: no spacer", file)
	case len(f.Spacer) > mostKinds:
		return Set{}, fmt.Errorf("%s: %d kinds of spacer, at most %d", file, len(f.Spacer), mostKinds)
	}
	set := Set{Name: file}
	for i, e := range f.Spacer {
		s, err := e.spacer()
		if err == nil && slices.ContainsFunc(set.Spacers, func(o Spacer) bool { return o.Name == s.Name }) {
			err = errors.New("name: there twice")
		}
		if err != nil {
			return Set{}, fmt.Errorf("%s: spacer %d (%q): %w", file, i+1, e.Name, err)
		}
		set.Spacers = append(set.Spacers, s)
	}
	return set, nil
}

// spacer checks an entry.
func (e spacerEntry) spacer() (Spacer, error) {
	s := Spacer{Name: strings.TrimSpace(e.Name), ThickMM: e.Thick, ToleranceMM: e.Tolerance, Count: e.Count, Material: e.Material}
	if s.Name == "" || len(s.Name) > 40 || strings.ContainsFunc(s.Name, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return s, errors.New("name: must be there, of 40 letters at most")
	}
	switch {
	case e.Chip:
		return s, errors.New("chip: a card with a chip or an antenna in it changes what is measured; take blank ones")
	case !slices.Contains(Materials(), e.Material):
		return s, fmt.Errorf("material %q: must be one of %s; metal shields and detunes, also as a foil or a coin", e.Material, strings.Join(Materials(), ", "))
	case e.Count < 1 || e.Count > mostPieces:
		return s, fmt.Errorf("count %d: must be 1 to %d", e.Count, mostPieces)
	}
	if e.Measured != 0 || e.Calliper != 0 {
		if e.Thick != 0 || e.Tolerance != 0 {
			return s, errors.New("pile_mm: the whole pile, instead of thick_mm and tolerance_mm")
		}
		if !(e.Calliper > 0) {
			return s, fmt.Errorf("calliper_mm %g: must be above 0", e.Calliper)
		}
		s.ThickMM, s.ToleranceMM = e.Measured/float64(e.Count), e.Calliper/float64(e.Count)
	}
	switch {
	case !(s.ThickMM >= thinnestMM && s.ThickMM <= thickestMM):
		return s, fmt.Errorf("thick_mm %g: must be %g to %g", s.ThickMM, thinnestMM, thickestMM)
	case !(s.ToleranceMM >= 0) || s.ToleranceMM > s.ThickMM/2 || math.IsInf(s.ToleranceMM, 0):
		return s, fmt.Errorf("tolerance_mm %g: must be 0 to half the thickness", s.ToleranceMM)
	}
	return s, nil
}
