package reach

import (
	"fmt"
	"strings"

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

func judge(c climb, p plan, sitting checklist.Sitting, others pool) []checklist.Finding {
	var findings []checklist.Finding
	if sitting != checklist.Site {
		findings = append(findings, contactFinding(c.contact, c.dropped))
	}
	atCover := coverFinding(c.cover, p, others)
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

// coverFinding judges the count at the cover, with what other steps counted there where
// that may be counted in.
func coverFinding(own count, p plan, others pool) checklist.Finding {
	all := own
	verdict := pooledVerdict(own, others.count, p)
	if verdict != checklist.Failed && !contradicts(own, others.count) {
		all = own.with(others.count)
	}
	k, n := all.read, all.n()
	low, high := estimate.Lower(k, n, level), estimate.Upper(k, n, level)
	f := checklist.Finding{
		What: "read at the cover", How: checklist.Measured, Verdict: verdict, Rests: checklist.RefsOf(all.entries...),
		Limit: ptr(checklist.Number(p.least, "1", "read rate "+percent(p.least)+" or more, one-sided 95 %")),
	}
	rate := 0.0
	if n > 0 {
		rate = float64(k) / float64(n)
	}
	f.Value = checklist.Number(rate, "1", fmt.Sprintf("%s read at %s mm: read rate %s or more", all.share(), millimetres(p.cover), percent(low)))
	f.Value.Low, f.Value.Level = &low, level
	switch f.Verdict {
	case checklist.Failed:
		f.Value.Text = fmt.Sprintf("%s read at %s mm: read rate below %s", all.share(), millimetres(p.cover), percent(high))
		f.Value.Low, f.Value.High = nil, &high
		f.Note = "Failed because even the upper bound of the read rate, one-sided 95 %, is below the limit"
		if n < p.atCover {
			f.Value.Text = fmt.Sprintf("%s read at %s mm", all.share(), millimetres(p.cover))
			f.Value.High, f.Value.Level = nil, 0
			f.Note = fmt.Sprintf("Ended early: with %d misses the upper bound of the read rate, one-sided 95 %%, stays below the limit however the rest of the %d come out", all.missed, p.atCover)
		}
		f.Note += "."
		if len(others.from) > 0 {
			f.Note += " It rests on this step's count alone: what other steps counted never hides a failure."
		}
		return f
	case checklist.NotConfirmed:
		f.Note = notConfirmed(all, p)
	}
	f.Note = strings.TrimSpace(f.Note + others.said(own))
	return f
}

// notConfirmed says why a count tells too little, and how much more it would take.
func notConfirmed(all count, p plan) string {
	switch coverVerdict(all.read, all.n(), p.least) {
	case checklist.Passed:
		return "This step's count alone would do."
	case checklist.Failed:
		return "Together the counts lie below the limit, but this step's alone does not, and only that can fail it."
	}
	note := "Neither bound of the read rate, one-sided 95 %, is on the far side of the limit"
	if more := estimate.LeastTrials(all.missed, p.least, level) - all.n(); more > 0 {
		note += fmt.Sprintf(": %d more presentations without a miss would confirm it", more)
	}
	return note + "."
}
