package reach

import (
	"fmt"

	"propwright/checklist"
)

// farMM is one inch: above it a range is remarkable for a reader with a printed
// coil, so a note asks to look twice (common practice, no source).
const farMM = 25.4

// coverVerdict judges k of n read at the cover against the least read rate: passed
// when the exact one-sided 95 % lower bound reaches it, failed when the upper
// bound stays below it, and otherwise the count is too small to tell.
func coverVerdict(k, n int, least float64) checklist.Verdict {
	switch {
	case n > 0 && Lower(k, n, level) >= least:
		return checklist.Passed
	case n > 0 && Upper(k, n, level) < least:
		return checklist.Failed
	}
	return checklist.NotConfirmed
}

func judge(c climb, p plan, coverMM float64, sitting checklist.Sitting) []checklist.Finding {
	var findings []checklist.Finding
	if sitting != checklist.Site {
		findings = append(findings, contactFinding(c.contact))
	}
	atCover := coverFinding(c.cover, p, coverMM)
	return append(findings, atCover, rangeFinding(c, coverMM, atCover.Verdict))
}

func contactFinding(c count) checklist.Finding {
	f := checklist.Finding{
		What: "read in contact", How: checklist.Measured, Verdict: checklist.Passed, Rests: checklist.RefsOf(c.entries...),
		Value: checklist.Number(float64(c.read), "1", c.share()+" read at 0 mm"), Limit: ptr(checklist.Number(float64(c.n()), "1", "every one")),
	}
	switch {
	case c.none():
		f.Verdict, f.Note = checklist.Failed, "Not read even in contact: the tag's kind, metal behind it in its object, or the reader's coil."
	case !c.all():
		f.Verdict, f.Note = checklist.NotConfirmed, "Read in contact now and then: the range figures rest on a reader that also misses up close."
	}
	return f
}

func coverFinding(c count, p plan, coverMM float64) checklist.Finding {
	k, n := c.read, c.n()
	low, high := Lower(k, n, level), Upper(k, n, level)
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
		if more := LeastTrials(c.missed, p.least, level) - n; more > 0 {
			f.Note += fmt.Sprintf(": %d more presentations without a miss would confirm it", more)
		}
		f.Note += "."
	}
	return f
}

// rangeFinding is the largest spacing up to which every presentation was read.
func rangeFinding(c climb, coverMM float64, atCover checklist.Verdict) checklist.Finding {
	f := checklist.Finding{
		What: "range", How: checklist.Measured, Verdict: checklist.Passed,
		Limit: ptr(checklist.Number(coverMM, "mm", fmt.Sprintf("the cover's %s mm or more", millimetres(coverMM)))),
	}
	reach, next := -1.0, count{spacing: -1}
	for _, r := range c.rungs {
		f.Rests = append(f.Rests, checklist.RefsOf(r.entries...)...)
		if next.spacing < 0 {
			if r.all() {
				reach = r.spacing
			} else {
				next = r
			}
		}
	}
	name := "none"
	f.Value = checklist.Text("not read every time at any spacing tried")
	if reach >= 0 {
		name = millimetres(reach) + " mm"
		f.Value = checklist.Number(reach, "mm", "read every time up to "+name)
		f.Value.Low = ptr(reach)
	}
	if next.spacing >= 0 {
		f.Value.Text += fmt.Sprintf(", %s at %s mm", next.share(), millimetres(next.spacing))
		if f.Value.Number != nil {
			f.Value.High = ptr(next.spacing)
		}
	} else if c.topped {
		f.Value.Text += ", where the ladder ends"
	}
	f.Note = fmt.Sprintf("Range %s, cover %s mm.", name, millimetres(coverMM))
	switch {
	case reach < coverMM && atCover == checklist.Failed:
		f.Verdict = checklist.Failed
		f.Note += " The tag is not read through the cover: a thinner cover, the reader closer to it, no metal near the coil, or a larger tag."
	case reach < coverMM:
		f.Verdict = checklist.NotConfirmed
		f.Note += " Not read every time at the cover, and too few presentations to say that it is too far."
	case reach > farMM:
		f.Note += " Note: more than one inch is far for a printed coil (common practice, no source); look at whether a tag next to the prop could be read as well."
	}
	return f
}
