package reach

import (
	"context"
	"fmt"

	"propwright/checklist"
	"propwright/checklist/reach/estimate"
)

// Repeat is the kind of check "repeat": so many presentations at the cover's
// thickness, how many were missed, and what that proves. Its zero value is ready
// to use; its figures come from the step's parameters: presentations, most_misses,
// within and lift must be there, approach, hold, orientation and cover_by have
// defaults.
type Repeat struct{}

// Console is true: a reading is an event of the console.
func (Repeat) Console() bool { return true }

// Run presents the tag until all presentations are on record. It returns errors
// of the log, the person and the step's parameters.
func (Repeat) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	n, err := s.Step.Int("presentations")
	if err != nil {
		return nil, err
	}
	most, err := s.Step.Int("most_misses")
	if err != nil {
		return nil, err
	}
	return eachReader(s, func(t *trials) ([]checklist.Finding, error) {
		c, err := t.until(ctx, s.Item.CoverMM, n, nil)
		if err != nil {
			return nil, err
		}
		if last := c.entries[len(c.entries)-1]; last.Measure.Value == 0 {
			if err := s.Regret(ctx, measureTrial, t.reader.Index); err != nil {
				return nil, err
			}
		}
		f := missFinding(c, most)
		if others := t.pooling(); len(others.from) > 0 || len(others.apart) > 0 {
			f.Note += others.said(c)
			if all := c.with(others.count); len(others.from) > 0 && !contradicts(c, others.count) {
				f.Note += fmt.Sprintf(" Together %s of %d bound it to %s or less.", misses(all.missed), all.n(), percent(estimate.Upper(all.missed, all.n(), level)))
				f.Rests = checklist.RefsOf(all.entries...)
			}
		}
		return []checklist.Finding{f, t.manner.finding(f.Rests)}, nil
	})
}

func missFinding(c count, most int) checklist.Finding {
	upper := estimate.Upper(c.missed, c.n(), level)
	f := checklist.Finding{
		What: "repeatability", How: checklist.Measured, Verdict: checklist.Passed, Rests: checklist.RefsOf(c.entries...),
		Value: checklist.Number(float64(c.missed), "1", fmt.Sprintf("%s of %d at %s mm", misses(c.missed), c.n(), millimetres(c.spacing))),
		Limit: ptr(checklist.Number(float64(most), "1", fmt.Sprintf("%s at most", misses(most)))),
		Note:  fmt.Sprintf("This bounds the miss rate to %s or less (exact, one-sided 95 %%).", percent(upper)),
	}
	if c.missed > most {
		f.Verdict = checklist.Failed
		f.Note += " Look at the tag's place in its object, metal near it, the supply's voltage under load and the joints."
	}
	return f
}

func misses(n int) string {
	if n == 1 {
		return "1 miss"
	}
	return fmt.Sprintf("%d misses", n)
}
