package reach

import (
	"context"
	"fmt"

	"propwright/checklist"
	"propwright/checklist/reach/estimate"
)

// Range is the kind of check "range": how far the reader reads the prop's own
// tag, and whether that is enough for the cover. Its figures come from the step's
// parameters: contact, at_cover, least_rate, within and lift must be there; placement,
// budget, half_width_mm, margin_mm, most_mm, far_mm (far_card_mm, far_fob_mm and
// far_sticker_mm for one form of tag), approach, hold, orientation and cover_by have
// defaults.
type Range struct {
	// Spacers are those of the bench; without any they are blank cards.
	Spacers Set
	// Coil is how the readers' coils are built, for a model of their field beside what
	// is measured; nil where that is not known.
	Coil *CoilPlan
}

// Console is true: a reading is an event of the console.
func (Range) Console() bool { return true }

// The ways of placing presentations.
const (
	placeAdaptive  = "adaptive"
	placeStaircase = "staircase"
)

// mostBudget bounds the presentations of a step.
const mostBudget = 1000

// plan are the parameters of a range step.
type plan struct {
	contact, atCover, budget int
	least                    float64
	half, margin, most       float64
	farOf                    map[string]float64 // the range that is remarkable, by form of tag; "" is any
	form                     string             // of the tag that was presented, "" where not known
	placement                string
	stacks                   []Stack
	cover                    float64
	spacings                 []float64 // that can be made, besides contact and cover
	installed                bool      // the cover is part of every spacing
	coil                     *CoilPlan
	manner                   manner
}

func planOf(s *checklist.Scene, set Set) (p plan, err error) {
	st := s.Step
	from := params{step: st}
	p.contact, p.atCover, p.least = from.whole("contact"), from.whole("at_cover"), from.number("least_rate")
	p.placement = from.wordOr("placement", defaultPlacement, placeStaircase)
	p.budget = from.wholeOr("budget", defaultBudget, 0, mostBudget)
	p.half = from.numberOr("half_width_mm", defaultHalfMM, 0, farthestMM)
	p.margin = from.numberOr("margin_mm", defaultMarginMM, 0, farthestMM)
	// Under this name it was before the range was estimated by a curve.
	most := from.numberOr("ladder_most_mm", defaultMostMM, 1, farthestMM)
	p.most = from.numberOr("most_mm", most, 1, farthestMM)
	far := from.numberOr("far_mm", defaultFarMM, 0, farthestMM)
	p.farOf = map[string]float64{"": far}
	for _, form := range tagForms {
		p.farOf[form] = from.numberOr("far_"+form+"_mm", far, 0, farthestMM)
	}
	if err := from.err(); err != nil {
		return p, err
	}
	if len(set.Spacers) == 0 {
		set = BuiltinSets()[0]
	}
	p.installed, p.cover = st.Sitting == checklist.Site, s.Item.CoverMM
	p.lay(set)
	return p, nil
}

// lay makes the spacings from a set of spacers.
func (p *plan) lay(set Set) {
	base := 0.0
	if p.installed {
		base = p.cover
	}
	p.stacks = set.Stacks(p.most - base)
	for _, stack := range p.stacks {
		if mm := exact(base + stack.MM); mm != exact(p.cover) {
			p.spacings = append(p.spacings, mm)
		}
	}
}

// A climb is all that was counted for one reader.
type climb struct {
	contact count // not counted where the cover is installed
	cover   count
	rungs   []count // all spacings, contact and cover among them, by rising spacing
	placed  int     // presentations besides those in contact and at the cover
	found   estimate.Range
	dropped bool // what was missed in contact is left out of the curve
}

// Run presents the tag at contact, at the cover and where that tells most. It
// returns errors of the log, the person and the step's parameters.
func (r Range) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	p, err := planOf(s, r.Spacers)
	if err != nil {
		return nil, err
	}
	p.coil = r.Coil
	return eachReader(s, func(t *trials) ([]checklist.Finding, error) {
		p.manner = t.manner
		t.plan = &p
		c, err := t.climb(ctx, p)
		if err != nil {
			return nil, err
		}
		p.form = t.form()
		return judge(c, p, s.Step.Sitting, t.pooling()), nil
	})
}

// climb does the presentations that are not on record yet. Where each goes follows
// from those on record, so that a step taken up again goes on as it would have.
func (t *trials) climb(ctx context.Context, p plan) (c climb, err error) {
	if len(t.rungs()) == 0 {
		if err := t.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActNote, Text: layOut(p, t.manner)}); err != nil {
			return c, err
		}
	}
	if !p.installed {
		if c.contact, err = t.until(ctx, 0, p.contact, nil); err != nil {
			return c, err
		}
	}
	// No more presentations than it takes to be sure of a failure: once the bound
	// cannot reach the least rate even if all that remain are read.
	lost := func(now count) bool {
		return checklist.Failed == coverVerdict(p.atCover-now.missed, p.atCover, p.least)
	}
	if c.cover, err = t.until(ctx, p.cover, p.atCover, lost); err != nil {
		return c, err
	}
	place := newPlacer(p)
	for {
		c.count(t.rungs(), p)
		if c.settled(p) {
			return c, nil
		}
		next := place.next(c, t.placed(p))
		if err := t.one(ctx, next, c.placed+1, p.budget); err != nil {
			return c, err
		}
	}
}

// count takes all that was counted and fits the curve to it.
func (c *climb) count(rungs []count, p plan) {
	c.rungs, c.placed, c.dropped = rungs, 0, false
	for _, r := range c.rungs {
		if r.spacing != 0 && exact(r.spacing) != exact(p.cover) {
			c.placed += r.n()
		}
	}
	// A large card can drop out close to the antenna and be read farther off; no curve
	// that falls with the spacing fits that, and it is no end of the range.
	if c.contact.missed > 0 && p.cover > 0 {
		_, beyond := estimate.Rises(estimate.Falling(counts([]count{c.contact, c.cover})))
		c.dropped = beyond
	}
	c.found = estimate.RangeOf(counts(c.fitted()), estimate.Logit)
}

// fitted are the rungs that the curve is fitted to.
func (c climb) fitted() []count {
	if c.dropped {
		return c.rungs[1:]
	}
	return c.rungs
}

// counts are rungs as the estimates take them.
func counts(rungs []count) (all []estimate.Counts) {
	for _, r := range rungs {
		all = append(all, estimate.Counts{SpacingMM: r.spacing, Presented: r.n(), Read: r.read})
	}
	return all
}

const (
	// decidedFactor is how many times as wide the interval may be once it lies on one
	// side of cover and margin. From experience, no source.
	decidedFactor = 2.0
	// nearSide and farSide are how many presentations on either side of a step between
	// neighbouring spacers say that these are too coarse for the reader: all read on one,
	// none on the other. From experience, no source.
	nearSide, farSide = 5, 2
)

// settled reports whether nothing more is to be presented: the budget is used, the
// interval is narrow enough for what it has to decide, there is no range to look for,
// or the spacers do not tell more.
func (c climb) settled(p plan) bool {
	switch {
	case c.placed >= p.budget || len(p.spacings) == 0:
		return true
	case c.cover.none() && (p.installed || c.contact.none()):
		return true // nothing read, and nowhere closer to go
	}
	return c.narrow(p) || c.coarse(p)
}

func (c climb) narrow(p plan) bool {
	low, high := c.found.R95.Low, c.found.R95.High
	if low == nil || high == nil || c.placed == 0 {
		return false
	}
	limit := p.half
	if edge := p.cover + p.margin; *low > edge || *high < edge {
		limit *= decidedFactor
	}
	return (*high-*low)/2 <= limit
}

// coarse reports whether all was read up to a spacing and nothing from the next one
// that can be made, often enough on both sides.
func (c climb) coarse(p plan) bool {
	if !c.found.Coarse {
		return false
	}
	for i, near := range c.rungs[:len(c.rungs)-1] {
		far := c.rungs[i+1]
		if near.all() && far.none() {
			for _, mm := range p.spacings {
				if mm > near.spacing && mm < far.spacing {
					return false
				}
			}
			return near.n() >= nearSide && far.n() >= farSide
		}
	}
	return false
}

// layOut says before the first presentation what is needed.
func layOut(p plan, m manner) string {
	text := "Lay out the spacers: blank and flat, no metal, no coin or foil, no card with a chip or an antenna in it. Neighbouring readers stay on, as in the show. Each presentation: the tag in its object, " + m.String() + ". Of several tags take the one that is read worst."
	if p.installed {
		return text + " They go on the cover, which counts as part of each spacing."
	}
	between := "the prop's own of %s mm, or spacers that come to it"
	if m.cover == coverOwn {
		between = "the prop's own of %s mm, no spacers"
	}
	return text + fmt.Sprintf(" For the cover take "+between+". Spacings count from the reader's highest point, not from its board.", millimetres(p.cover))
}
