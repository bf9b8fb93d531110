package reach

import (
	"math"

	"propwright/checklist/reach/estimate"
)

// keepShare is how much of the best spacing's information the present one must still
// give to stay on: changing spacers takes hands some ten seconds, presenting two or
// three. From experience, no source.
const keepShare = 0.8

// staircaseMM is the step of a staircase, and staircaseShare the part of the largest
// spacing at which it begins.
const (
	staircaseMM    = 1.5
	staircaseShare = 0.5
)

// A placer says where the next presentation goes.
type placer struct {
	p      plan
	belief *estimate.Belief
	levels []float64
}

func newPlacer(p plan) *placer {
	if p.placement == placeAdaptive {
		return &placer{p: p, belief: estimate.NewBelief(p.spacings, p.most)}
	}
	return &placer{p: p, levels: levelsOf(p.spacings)}
}

// levelsOf are spacings a staircase step or more apart.
func levelsOf(spacings []float64) (levels []float64) {
	for _, mm := range spacings {
		if n := len(levels); n == 0 || mm-levels[n-1] >= staircaseMM-1e-9 {
			levels = append(levels, mm)
		}
	}
	return levels
}

// next is the spacing of the next presentation, from what was counted and the last
// trial besides those in contact and at the cover.
func (l *placer) next(c climb, last placed) float64 {
	if l.levels != nil {
		if !last.ok {
			return estimate.Nearest(l.levels, max(l.p.cover, staircaseShare*l.p.most))
		}
		return estimate.NextStep(l.levels, last.spacing, last.read)
	}
	l.belief.Fresh()
	for _, r := range c.fitted() {
		for i := range r.n() {
			l.belief.Take(r.spacing, i < r.read)
		}
	}
	at := math.NaN()
	if last.ok {
		at = last.spacing
	}
	return l.belief.Next(at, keepShare)
}

// A placed trial is one that is neither in contact nor at the cover.
type placed struct {
	ok, read bool
	spacing  float64
}

// placed is the last trial of that sort on record.
func (t *trials) placed(p plan) (last placed) {
	for _, e := range t.onRecord() {
		if mm, ok := spacingOf(e); ok && mm != 0 && mm != exact(p.cover) {
			last = placed{true, e.Measure.Value == 1, mm}
		}
	}
	return last
}
