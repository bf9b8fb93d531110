package reach

import (
	"fmt"

	"propwright/checklist"
	"propwright/checklist/reach/estimate"
)

// coverVerdict judges k of n read at the cover against the least read rate: passed
// when the exact one-sided 95 % lower bound reaches it, failed when the upper
// bound stays below it, and otherwise the count is too small to tell.
func coverVerdict(k, n int, least float64) checklist.Verdict {
	switch {
	case n > 0 && estimate.Lower(k, n, level) >= least:
		return checklist.Passed
	case n > 0 && estimate.Upper(k, n, level) < least:
		return checklist.Failed
	}
	return checklist.NotConfirmed
}

func judge(c climb, p plan, sitting checklist.Sitting) []checklist.Finding {
	var findings []checklist.Finding
	if sitting != checklist.Site {
		findings = append(findings, contactFinding(c.contact, c.dropped))
	}
	atCover := coverFinding(c.cover, p, p.cover)
	return append(append(findings, atCover), c.findings(p, atCover.Verdict)...)
}

func contactFinding(c count, dropped bool) checklist.Finding {
	f := checklist.Finding{
		What: "read in contact", How: checklist.Measured, Verdict: checklist.Passed, Rests: checklist.RefsOf(c.entries...),
		Value: checklist.Number(float64(c.read), "1", c.share()+" read at 0 mm"), Limit: ptr(checklist.Number(float64(c.n()), "1", "every one")),
	}
	switch {
	case dropped:
		f.Verdict, f.Note = checklist.NotConfirmed, "Missed in contact and read farther off: this card drops out close to the antenna. Keep it at a distance in the prop, or take a smaller one; the range is told without these."
	case c.none():
		f.Verdict, f.Note = checklist.Failed, "Not read even in contact: the tag's kind, metal behind it in its object, or the reader's coil."
	case !c.all():
		f.Verdict, f.Note = checklist.NotConfirmed, "Read in contact now and then: the range figures rest on a reader that also misses up close."
	}
	return f
}

func coverFinding(c count, p plan, coverMM float64) checklist.Finding {
	k, n := c.read, c.n()
	low, high := estimate.Lower(k, n, level), estimate.Upper(k, n, level)
	f := checklist.Finding{
		What: "read at the cover", How: checklist.Measured, Verdict: coverVerdict(k, n, p.least), Rests: checklist.RefsOf(c.entries...),
		Limit: ptr(checklist.Number(p.least, "1", "read rate "+percent(p.least)+" or more, one-sided 95 %")),
	}
	rate := 0.0
	if n > 0 {
		rate = float64(k) / float64(n)
	}
	f.Value = checklist.Number(rate, "1", fmt.Sprintf("%s read at %s mm: read rate %s or more", c.share(), millimetres(coverMM), percent(low)))
	f.Value.Low, f.Value.Level = &low, level
	switch f.Verdict {
	case checklist.Failed:
		f.Value.Text = fmt.Sprintf("%s read at %s mm: read rate below %s", c.share(), millimetres(coverMM), percent(high))
		f.Value.Low, f.Value.High = nil, &high
		f.Note = "Failed because even the upper bound of the read rate, one-sided 95 %, is below the limit"
		if n < p.atCover {
			f.Value.Text = fmt.Sprintf("%s read at %s mm", c.share(), millimetres(coverMM))
			f.Value.High, f.Value.Level = nil, 0
			f.Note = fmt.Sprintf("Ended early: with %d misses the upper bound of the read rate, one-sided 95 %%, stays below the limit however the rest of the %d come out", c.missed, p.atCover)
		}
		f.Note += "."
	case checklist.NotConfirmed:
		f.Note = "Neither bound of the read rate, one-sided 95 %, is on the far side of the limit"
		if more := estimate.LeastTrials(c.missed, p.least, level) - n; more > 0 {
			f.Note += fmt.Sprintf(": %d more presentations without a miss would confirm it", more)
		}
		f.Note += "."
	}
	return f
}
