package reach

import (
	"context"
	"errors"

	"propwright/checklist"
)

// Range is the kind of check "range": how far the reader reads the prop's own
// tag, and whether that is enough for the cover. Its zero value is ready to use;
// its figures come from the step's parameters (contact, at_cover, least_rate,
// ladder_step_mm, ladder_each, ladder_most_mm, within, lift).
type Range struct{}

// Console is true: a reading is an event of the console.
func (Range) Console() bool { return true }

// plan are the parameters of a range step.
type plan struct {
	contact, atCover, each int
	least, step, most      float64
}

func planOf(st checklist.Step) (p plan, err error) {
	var errs [6]error
	p.contact, errs[0] = st.Int("contact")
	p.atCover, errs[1] = st.Int("at_cover")
	p.least, errs[2] = st.Float("least_rate")
	p.step, errs[3] = st.Float("ladder_step_mm")
	p.each, errs[4] = st.Int("ladder_each")
	p.most, errs[5] = st.Float("ladder_most_mm")
	return p, errors.Join(errs[:]...)
}

// A climb is all that was counted for one reader.
type climb struct {
	contact count // not counted where the cover is installed
	cover   count
	rungs   []count // contact, ladder and cover by rising spacing
	topped  bool    // the ladder ended at its own end, not at a rung missed
}

// Run presents the tag at contact, at the cover and up or down a ladder. It
// returns errors of the log, the person and the step's parameters.
func (Range) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	p, err := planOf(s.Step)
	if err != nil {
		return nil, err
	}
	return eachReader(s, func(t *trials) ([]checklist.Finding, error) {
		c, err := t.climb(ctx, p)
		if err != nil {
			return nil, err
		}
		return judge(c, p, s.Item.CoverMM, s.Step.Sitting), nil
	})
}

// climb does the presentations that are not on record yet, in a fixed order.
func (t *trials) climb(ctx context.Context, p plan) (c climb, err error) {
	cover := t.s.Item.CoverMM
	installed := t.s.Step.Sitting == checklist.Site
	if !installed {
		if c.contact, err = t.until(ctx, 0, p.contact, nil); err != nil {
			return c, err
		}
	}
	// No more presentations than it takes to be sure of a failure: once the bound
	// cannot reach the least rate even if all that remain are read.
	lost := func(now count) bool {
		return checklist.Failed == coverVerdict(p.atCover-now.missed, p.atCover, p.least)
	}
	if c.cover, err = t.until(ctx, cover, p.atCover, lost); err != nil {
		return c, err
	}
	if !installed && cover > 0 {
		c.rungs = append(c.rungs, c.contact)
	}
	if !c.cover.all() && !installed {
		below, err := t.descend(ctx, p, cover)
		if err != nil {
			return c, err
		}
		c.rungs = append(c.rungs, below...)
	}
	c.rungs = append(c.rungs, c.cover)
	if !c.cover.none() {
		above, topped, err := t.ascend(ctx, p, cover)
		if err != nil {
			return c, err
		}
		c.rungs, c.topped = append(c.rungs, above...), topped
	}
	return c, nil
}

// descend goes from the cover towards contact until a rung is read every time;
// the rungs come back by rising spacing.
func (t *trials) descend(ctx context.Context, p plan, cover float64) (rungs []count, err error) {
	for i := 1; p.step > 0 && cover-float64(i)*p.step > 0; i++ {
		c, err := t.until(ctx, cover-float64(i)*p.step, p.each, nil)
		if err != nil {
			return nil, err
		}
		rungs = append([]count{c}, rungs...)
		if c.all() {
			break
		}
	}
	return rungs, nil
}

// ascend goes from the cover outwards until all of one rung are missed; topped
// is true where the ladder ended before that.
func (t *trials) ascend(ctx context.Context, p plan, cover float64) (rungs []count, topped bool, err error) {
	for i := 1; p.step > 0 && cover+float64(i)*p.step <= p.most; i++ {
		c, err := t.until(ctx, cover+float64(i)*p.step, p.each, nil)
		if err != nil {
			return nil, false, err
		}
		rungs = append(rungs, c)
		if c.none() {
			return rungs, false, nil
		}
	}
	return rungs, true, nil
}
