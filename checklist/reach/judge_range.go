package reach

import (
	"fmt"
	"strings"

	"propwright/checklist"
	"propwright/checklist/reach/estimate"
)

// decisionRule says how a range is held against the cover. JCGM 106:2012, 8.3.2
// (clause from memory): with a guard band as wide as the uncertainty, a figure is
// accepted only where its interval clears the limit.
const decisionRule = "Decision rule: guarded acceptance (JCGM 106) of r95 less its uncertainty, the spacers' tolerance in it, against the cover and its margin; the verdict rests on the count at the cover."

// findings are what the curve tells: the reliable range, held against the cover, and
// the spacing that is read half the time.
func (c climb) findings(p plan, atCover checklist.Verdict) []checklist.Finding {
	var rests []checklist.Ref
	for _, r := range c.rungs {
		rests = append(rests, checklist.RefsOf(r.entries...)...)
	}
	half, reliable := c.widened(p, c.found.R50), c.widened(p, c.found.R95)
	f := checklist.Finding{
		What: "range", How: checklist.Measured, Verdict: checklist.Passed, Rests: rests, Value: rangeValue("r95", reliable, c, p),
		Limit: ptr(checklist.Number(p.cover, "mm", fmt.Sprintf("the cover's %s mm, with a margin of %s mm", millimetres(p.cover), millimetres(p.margin)))),
		Curve: Picture(c.found),
	}
	if p.cover > 0 {
		f.Curve.CoverMM = ptr(p.cover)
	}
	notes := []string{fmt.Sprintf("Range %s, cover %s mm.", shortRange(reliable), millimetres(p.cover))}
	edge := p.cover + p.margin
	switch clears := reliable.Low != nil && *reliable.Low >= edge; {
	case atCover == checklist.Failed:
		f.Verdict = checklist.Failed
		notes = append(notes, "The tag is not read through the cover: a thinner cover, the reader closer to it, no metal near the coil, or a larger tag.")
	case atCover == checklist.NotConfirmed:
		f.Verdict = checklist.NotConfirmed
		notes = append(notes, "Too few presentations at the cover to say on which side of it the range ends.")
	case clears:
		notes = append(notes, decisionRule, fmt.Sprintf("The lower end clears %s mm.", millimetres(edge)))
	default:
		notes = append(notes, decisionRule, fmt.Sprintf("Note: the lower end does not clear %s mm, so the count at the cover carries the verdict alone.", millimetres(edge)))
	}
	if far := p.farOf[p.form]; reliable.Value != nil && *reliable.Value > far {
		notes = append(notes, p.remarkable(far))
	}
	if s, ok := c.staircase(p); ok {
		notes = append(notes, s)
	}
	notes = append(notes, c.said(p)...)
	f.Note = strings.Join(notes, " ")
	found := []checklist.Finding{f, {
		What: "range read half the time", How: checklist.Measured, Verdict: checklist.Passed, Rests: rests, Value: rangeValue("r50", half, c, p),
		Note: fmt.Sprintf("%d presentations besides contact and cover, of %d at most; %s.", c.placed, p.budget, c.found.Method),
	}, p.manner.finding(rests)}
	if p.coil != nil {
		f.Curve.Field = p.coil.line(f.Curve)
		found = append(found, p.coil.fieldFinding(half, rests))
	}
	return found
}

// said are the estimate's warnings that say something here. That all was read up to
// the largest spacing, or nothing at all, the value says; spacers that tell as much as
// was asked for are not too coarse; and what chance explains is in the picture.
func (c climb) said(p plan) (said []string) {
	for _, w := range c.found.Warnings {
		known := strings.HasPrefix(w, "Nothing was ") || strings.HasPrefix(w, "One spacing only") || strings.HasSuffix(w, "; chance explains it.")
		if !known && !(strings.HasPrefix(w, "All was read ") && c.narrow(p)) {
			said = append(said, w)
		}
	}
	return said
}

// widened is a figure with the tolerance of the spacers in its interval: all pieces of a
// kind are off alike, so a stack is off by the sum.
func (c climb) widened(p plan, f estimate.Figure) estimate.Figure {
	base := 0.0
	if p.installed {
		base = p.cover
	}
	return Widen(f, func(mm float64) float64 { return toleranceAt(p.stacks, max(0, mm-base)) })
}

// rangeValue is a spacing as a finding's value.
func rangeValue(name string, f estimate.Figure, c climb, p plan) checklist.Quantity {
	last := count{}
	if n := len(c.rungs); n > 0 {
		last = c.rungs[n-1]
	}
	q := checklist.Quantity{Unit: "mm", Low: f.Low, High: f.High, Level: estimate.Level}
	switch {
	case f.Value != nil && *f.Value < 0:
		q.Number, q.Text = f.Value, name+": none, not even in contact"
	case f.Value != nil:
		q.Number, q.Text = f.Value, name+" "+tenths(*f.Value)+" mm"
	case c.found.Curve != nil && last.all():
		q.Text = fmt.Sprintf("%s: no end, read every time up to %s mm", name, millimetres(last.spacing))
		q.Number = ptr(last.spacing)
		if last.spacing > p.most-1 {
			q.Text += ", where the spacers end"
		}
	default:
		q.Text = name + ": none, not read at any spacing tried"
	}
	if q.Low == nil && q.High == nil {
		q.Level = 0
	}
	return q
}

// shortRange is a range in a sentence.
func shortRange(f estimate.Figure) string {
	if f.Value == nil {
		if f.Low != nil {
			return tenths(*f.Low) + " mm or more"
		}
		return "none"
	}
	text := tenths(*f.Value) + " mm"
	switch {
	case f.Low != nil && f.High != nil:
		text += fmt.Sprintf(" (%s to %s mm)", tenths(*f.Low), tenths(*f.High))
	case f.Low != nil:
		text += fmt.Sprintf(" (%s mm or more)", tenths(*f.Low))
	case f.High != nil:
		text += fmt.Sprintf(" (%s mm at most)", tenths(*f.High))
	}
	return text
}

// staircase is the Dixon-Mood estimate where a staircase was walked.
func (c climb) staircase(p plan) (text string, ok bool) {
	if p.placement != placeStaircase {
		return "", false
	}
	var walked []count
	for _, r := range c.rungs {
		if r.spacing != 0 && exact(r.spacing) != exact(p.cover) {
			walked = append(walked, r)
		}
	}
	levels := levelsOf(p.spacings)
	if len(levels) < 2 {
		return "", false
	}
	s, err := estimate.DixonMood(counts(walked), levels[1]-levels[0])
	if err != nil {
		return "", false
	}
	return fmt.Sprintf("By the staircase alone (Dixon and Mood) half is read at %s mm.", tenths(s.MeanMM)), true
}
