package reach

import (
	"fmt"

	"propwright/checklist"
	"propwright/checklist/reach/estimate"
)

// fieldPoints is how many points the modelled field is drawn with.
const fieldPoints = 41

// fieldFinding is what the coil's geometry lets one expect, beside what was measured.
func (p CoilPlan) fieldFinding(r50 estimate.Figure, rests []checklist.Ref) checklist.Finding {
	allows := p.AllowsMM()
	f := checklist.Finding{
		What: "range that the coil allows", How: checklist.Planned, Verdict: checklist.Passed, Rests: rests,
		Value: checklist.Number(allows, "mm", "about "+tenths(allows)+" mm, by a model"),
		Note:  "A model, not measured: on the axis, tuned, " + p.Inputs() + ".",
	}
	if p.PlateMM > 0 {
		free := p
		free.PlateMM = 0
		f.Note += fmt.Sprintf(" Without the plate it would be %s mm.", tenths(free.AllowsMM()))
	}
	if r50.Value != nil && *r50.Value > 0 {
		if p.GainDB > 0 && p.GainDB < p.MostDB {
			more := 1000 * p.Coil.WithGain(*r50.Value/1000, p.MostDB-p.GainDB, allows/1000, p.PlateMM/1000)
			f.Note += fmt.Sprintf(" Receiver gain from %g to %g dB would move the spacing read half the time from %s to %s mm at most: far off the answer falls with the sixth power of the distance, gain raises the noise with it, and it feeds no card.", p.GainDB, p.MostDB, tenths(*r50.Value), tenths(more))
		}
		switch {
		case *r50.Value > 1.2*allows:
			f.Note += " What was measured lies beyond it: the card needs less than the standard's least field, or an input is wrong."
		case *r50.Value < 0.6*allows:
			f.Note += " What was measured falls well short of it: metal close by, a detuned coil or card, a low supply, or an input that is wrong."
		}
	}
	return f
}

// line is the field over the spacings of a picture.
func (p CoilPlan) line(c *checklist.Curve) (all []checklist.CurveField) {
	far := 0.0
	for _, t := range c.Trials {
		far = max(far, t.SpacingMM)
	}
	for _, l := range c.Line {
		far = max(far, l.SpacingMM)
	}
	for i := range fieldPoints {
		mm := short(far * float64(i) / (fieldPoints - 1))
		all = append(all, checklist.CurveField{SpacingMM: mm, FieldAPerM: short(p.at(mm))})
	}
	return all
}
