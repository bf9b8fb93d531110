package reach

import (
	"fmt"

	"propwright/checklist/reach/field"
)

// CoilFile is the name of the file in a site's folder that says how its readers' coils
// are built, where that is known.
const CoilFile = "coil.toml"

// A CoilPlan is a reader's coil and what stands behind it, for a model of its field.
type CoilPlan struct {
	Coil     field.Coil
	PlateMM  float64 // metal so far behind the coil, 0 for none
	GainDB   float64 // receiver gain that the firmware sets, 0 where it is not known
	MostDB   float64 // the most that the chip has
	LeastAPM float64 // what the card needs, A/m
}

type coilEntry struct {
	Radius  float64 `toml:"radius_mm"`
	Width   float64 `toml:"width_mm"`
	Height  float64 `toml:"height_mm"`
	Turns   float64 `toml:"turns"`
	Current float64 `toml:"current_ma"`
	Plate   float64 `toml:"plate_mm"`
	Gain    float64 `toml:"gain_db"`
	Least   float64 `toml:"least_a_per_m"`
}

// The receiver gain of an MFRC522 in dB (data sheet, tables 97 and 98), and the bounds
// of the other figures.
const (
	leastGain, mostGain = 18.0, 48.0
	mostPlateMM         = 1000.0
	mostField           = 100.0
)

// ParseCoil reads how a coil is built. file names it in errors.
func ParseCoil(file string, text []byte) (CoilPlan, error) {
	var e coilEntry
	if err := decodeSiteFile(file, text, &e, "there are radius_mm, or width_mm and height_mm, turns, current_ma, plate_mm, gain_db and least_a_per_m"); err != nil {
		return CoilPlan{}, err
	}
	p := CoilPlan{
		Coil:    field.Coil{RadiusM: e.Radius / 1000, WidthM: e.Width / 1000, HeightM: e.Height / 1000, Turns: e.Turns, CurrentA: e.Current / 1000},
		PlateMM: e.Plate, GainDB: e.Gain, MostDB: mostGain, LeastAPM: e.Least,
	}
	if p.LeastAPM == 0 {
		p.LeastAPM = field.LeastField
	}
	if err := p.Coil.Check(); err != nil {
		return CoilPlan{}, fmt.Errorf("%s: %w", file, err)
	}
	switch {
	case !(p.PlateMM >= 0 && p.PlateMM <= mostPlateMM):
		return CoilPlan{}, fmt.Errorf("%s: plate_mm %g: must be 0 to %g", file, p.PlateMM, mostPlateMM)
	case p.GainDB != 0 && !(p.GainDB >= leastGain && p.GainDB <= mostGain):
		return CoilPlan{}, fmt.Errorf("%s: gain_db %g: must be %g to %g", file, p.GainDB, leastGain, mostGain)
	case !(p.LeastAPM > 0 && p.LeastAPM <= mostField):
		return CoilPlan{}, fmt.Errorf("%s: least_a_per_m %g: must be above 0 and at most %g", file, p.LeastAPM, mostField)
	}
	return p, nil
}

// AllowsMM is how far the field on the axis feeds a card by the model, with the plate
// where there is one.
func (p CoilPlan) AllowsMM() float64 { return 1000 * p.Coil.ReachTo(p.LeastAPM, p.PlateMM/1000) }

// Inputs says what the model was given.
func (p CoilPlan) Inputs() string {
	form := fmt.Sprintf("round coil of radius %g mm", 1000*p.Coil.RadiusM)
	if p.Coil.RadiusM == 0 {
		form = fmt.Sprintf("coil of %g by %g mm", exact(1000*p.Coil.WidthM), exact(1000*p.Coil.HeightM))
	}
	plate := "no metal behind"
	if p.PlateMM > 0 {
		plate = fmt.Sprintf("a metal plate %g mm behind", p.PlateMM)
	}
	return fmt.Sprintf("%s, %g turns, %g mA, %s, a card that works from %g A/m", form, p.Coil.Turns, exact(1000*p.Coil.CurrentA), plate, p.LeastAPM)
}

// at is the modelled field at a spacing.
func (p CoilPlan) at(mm float64) float64 {
	if p.PlateMM > 0 {
		return p.Coil.BeforePlate(mm/1000, p.PlateMM/1000)
	}
	return p.Coil.OnAxis(mm / 1000)
}
