package reach

import (
	"math"

	"propwright/checklist"
	"propwright/checklist/reach/estimate"
)

// linePoints is how many points a drawn curve has.
const linePoints = 49

// Picture is what there is to draw of an estimate: the counts it came from with an
// interval of each by itself, and the curve with its band from contact to a little
// beyond the largest spacing.
func Picture(r estimate.Range) *checklist.Curve {
	c := &checklist.Curve{Trials: []checklist.CurveTrial{}, Line: []checklist.CurvePoint{}, Level: estimate.Level}
	far := 0.0
	for _, pool := range r.Pools {
		for _, n := range pool.Counts {
			low, high := estimate.Wilson(n.Read, n.Presented, estimate.Level)
			c.Trials = append(c.Trials, checklist.CurveTrial{SpacingMM: n.SpacingMM, Presented: n.Presented, Read: n.Read, Low: short(low), High: short(high)})
			far = max(far, n.SpacingMM)
		}
	}
	if r.Curve == nil || far == 0 {
		return c
	}
	for i := range linePoints {
		at := short(1.08 * far * float64(i) / (linePoints - 1))
		low, high := r.Curve.Band(at, estimate.Level)
		c.Line = append(c.Line, checklist.CurvePoint{SpacingMM: at, Rate: short(r.Curve.Rate(at)), Low: short(low), High: short(high)})
	}
	return c
}

// short keeps as many digits as a picture can show.
func short(v float64) float64 { return math.Round(v*1e4) / 1e4 }
