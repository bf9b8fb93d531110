package reach

import (
	"errors"
	"fmt"

	"propwright/checklist"
)

// The parameters that a step may leave out, with what then holds: procedures that a
// site wrote before a parameter was there go on as they did.
const (
	defaultPlacement   = placeAdaptive
	defaultBudget      = 24
	defaultHalfMM      = 2.0
	defaultMarginMM    = 2.0
	defaultMostMM      = 40.0
	defaultFarMM       = 25.4 // just under an inch with gain raised (common practice, no source)
	defaultApproach    = approachHeld
	defaultHold        = 1.0 // seconds over the reader, of a held tag
	defaultSwipe       = 0.3 // and of a swiped one; from experience, no source
	defaultOrientation = "as players turn it, the same way round each time"
)

// params reads the parameters of a step and keeps what is wrong with them.
type params struct {
	step checklist.Step
	errs []error
}

func (p *params) has(name string) bool { _, there := p.step.Params[name]; return there }

// number is a parameter that must be there.
func (p *params) number(name string) float64 {
	v, err := p.step.Float(name)
	p.errs = append(p.errs, err)
	return v
}

// whole is a whole number that must be there.
func (p *params) whole(name string) int {
	v, err := p.step.Int(name)
	p.errs = append(p.errs, err)
	return v
}

// numberOr is a parameter from least to most, or its default where it is left out.
func (p *params) numberOr(name string, or, least, most float64) float64 {
	if !p.has(name) {
		return or
	}
	v := p.number(name)
	if !(v >= least && v <= most) {
		p.errs = append(p.errs, fmt.Errorf("step %q: parameter %q: %g: must be %g to %g", p.step.ID, name, v, least, most))
		return or
	}
	return v
}

// wholeOr is numberOr for a whole number.
func (p *params) wholeOr(name string, or, least, most int) int {
	if p.has(name) {
		if _, err := p.step.Int(name); err != nil {
			p.errs = append(p.errs, err)
			return or
		}
	}
	return int(p.numberOr(name, float64(or), float64(least), float64(most)))
}

// wordOr is a parameter that is one of some words, the first of which is its default.
func (p *params) wordOr(name string, words ...string) string {
	if !p.has(name) {
		return words[0]
	}
	v, err := p.step.Str(name)
	if err != nil {
		p.errs = append(p.errs, err)
		return words[0]
	}
	for _, w := range words {
		if v == w {
			return v
		}
	}
	p.errs = append(p.errs, fmt.Errorf("step %q: parameter %q: %q is none of %q", p.step.ID, name, v, words))
	return words[0]
}

func (p *params) err() error { return errors.Join(p.errs...) }
