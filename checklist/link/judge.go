package link

import (
	"fmt"
	"slices"

	"propwright/checklist"
)

// judgeTrials comes to the findings on one reader's coil.
func judgeTrials(s *checklist.Scene, r checklist.Reader, trials []coilTrial, l limits) []checklist.Finding {
	read := slices.DeleteFunc(slices.Clone(trials), func(t coilTrial) bool { return t.result == resultNotRead || t.result == resultCard })
	if len(read) == 0 {
		return []checklist.Finding{{
			What: "coil", How: checklist.Measured, Verdict: checklist.NotConfirmed, Rests: rests(trials),
			Value: checklist.Text(fmt.Sprintf("tag not accepted in %d presentations", len(trials))),
			Note:  "The reader did not accept the prop's own tag, so nothing could be seen of its coil; see the steps range and cards.",
		}}
	}
	findings := []checklist.Finding{coilFinding(s.Item, r, read)}
	wrote := slices.DeleteFunc(slices.Clone(read), func(t coilTrial) bool { return t.coil < 0 })
	if len(wrote) == 0 {
		return findings
	}
	return append(findings, unitFinding(s.Item, wrote), offFinding(r, wrote), delayFinding(wrote, l))
}

func rests(trials []coilTrial) []checklist.Ref {
	var refs []checklist.Ref
	for _, t := range trials {
		refs = append(refs, checklist.RefsOf(t.entry)...)
		refs = append(refs, t.entry.Measure.Rests...)
	}
	return refs
}

// coilFinding says whether the planned coil was switched, every time.
func coilFinding(it checklist.Item, r checklist.Reader, trials []coilTrial) checklist.Finding {
	n := len(trials)
	base := it.Controller.Base
	f := checklist.Finding{What: "coil", How: checklist.Measured, Verdict: checklist.Passed, Rests: rests(trials)}
	if r.Coil >= 0 {
		f.Limit = ptr(checklist.Number(float64(r.Coil), "", fmt.Sprintf("coil %d, every time", r.Coil)))
	}
	for _, t := range trials {
		switch t.result {
		case resultWrongCoil:
			f.Verdict = checklist.Failed
			f.Value = checklist.Number(float64(t.coil), "", fmt.Sprintf("coil %d seen, coil %d planned", t.coil, r.Coil))
			f.Note = fmt.Sprintf("On the wire address %d was written and the plan has address %d (coil %d at base %d).", t.address, r.Coil-base, r.Coil, base)
			if d := t.coil - r.Coil; d == 1 || d == -1 {
				f.Note += " One beside: the firmware counts coils from another base than the plan."
			}
			if owner := it.Owner("coil", fmt.Sprint(t.coil)); owner != "" {
				f.Note += fmt.Sprintf(" Coil %d belongs to %s.", t.coil, owner)
			}
			return f
		case resultNoWrite:
			f.Verdict, f.Note = checklist.Failed, "The tag was read and no coil was written."
		case resultRefused:
			f.Verdict, f.Note = checklist.Failed, fmt.Sprintf("The controller answered %s: the coil's number or the function that the firmware uses.", t.entry.Measure.Params["answer"])
		}
	}
	good := 0
	for _, t := range trials {
		if t.result == resultOK || t.result == resultStaysOn {
			good++
			f.Value = checklist.Number(float64(t.coil), "", "")
		}
	}
	f.Value.Text = fmt.Sprintf("coil %d, %d of %d", r.Coil, good, n)
	if good > 0 && r.Coil < 0 {
		f.Value.Text, f.Note = fmt.Sprintf("a coil, %d of %d", good, n), "The plan names no coil for this reader."
		f.Verdict = f.Verdict.Worse(checklist.NotConfirmed)
	}
	return f
}

func unitFinding(it checklist.Item, trials []coilTrial) checklist.Finding {
	f := checklist.Finding{
		What: "unit", How: checklist.Measured, Verdict: checklist.Passed, Rests: checklist.RefsOf(trials[0].entry),
		Limit: ptr(checklist.Number(float64(it.Controller.Unit), "", fmt.Sprintf("unit %d", it.Controller.Unit))),
	}
	for _, t := range trials {
		f.Value = checklist.Number(float64(t.unit), "", fmt.Sprintf("unit %d", t.unit))
		if t.unit != it.Controller.Unit {
			f.Verdict, f.Rests = checklist.Failed, rests([]coilTrial{t})
			f.Note = fmt.Sprintf("The board writes to unit %d, the plan has unit %d; a gateway would pass that to another device.", t.unit, it.Controller.Unit)
			return f
		}
	}
	return f
}

// offFinding says whether what was switched on went off again, as the planned
// behaviour has it.
func offFinding(r checklist.Reader, trials []coilTrial) checklist.Finding {
	f := checklist.Finding{What: "coil off again", How: checklist.Measured, Verdict: checklist.Passed, Rests: rests(trials)}
	if r.Behaviour == behaviourToggle {
		return toggleFinding(f, trials)
	}
	stays := 0
	for _, t := range trials {
		if t.result == resultStaysOn {
			stays++
		}
	}
	f.Value = checklist.Number(float64(stays), "1", fmt.Sprintf("off again %d of %d", len(trials)-stays, len(trials)))
	f.Limit = ptr(checklist.Number(0, "1", "every time"))
	if stays > 0 {
		f.Verdict = checklist.Failed
		f.Value.Text = fmt.Sprintf("on without off, %d of %d", stays, len(trials))
		f.Note = "The coil was switched on and never off, the tag long gone: in service the prop stays solved."
		if r.Behaviour == behaviourPulse {
			f.Note = "The coil was switched on and did not fall back by itself as planned."
		}
	}
	return f
}

// toggleFinding wants each presentation to switch the other way.
func toggleFinding(f checklist.Finding, trials []coilTrial) checklist.Finding {
	f.What, f.Limit = "coil toggles", ptr(checklist.Text("the other way each time"))
	same := 0
	for i := 1; i < len(trials); i++ {
		if trials[i].value == trials[i-1].value {
			same++
		}
	}
	f.Value = checklist.Number(float64(same), "1", fmt.Sprintf("the same way twice, %d times", same))
	if same > 0 {
		f.Verdict, f.Note = checklist.Failed, "Planned is that each presentation switches the coil the other way."
	} else if trials[len(trials)-1].value == "on" {
		f.Note = "Note: the last presentation left the coil on."
	}
	return f
}

// whatDelay is what the finding on the delay is about.
const whatDelay = "tag to coil"

// delayFinding holds the slowest presentation against the limits.
func delayFinding(trials []coilTrial, l limits) checklist.Finding {
	f := checklist.Finding{
		What: whatDelay, How: checklist.Measured, Verdict: checklist.Passed, Rests: rests(trials),
		Limit: ptr(checklist.Number(l.pass.Seconds(), "s", fmt.Sprintf("%g s, failed over %g s", l.pass.Seconds(), l.fail.Seconds()))),
	}
	var delays []float64
	for _, t := range trials {
		if t.timed {
			delays = append(delays, t.delay)
		}
	}
	if len(delays) == 0 {
		f.Verdict, f.Value = checklist.NotConfirmed, checklist.Text("not timed")
		return f
	}
	slices.Sort(delays)
	worst, n := delays[len(delays)-1], len(delays)
	median := (delays[(n-1)/2] + delays[n/2]) / 2
	f.Value = checklist.Number(worst, "s", fmt.Sprintf("median %s, worst %s of %d", seconds(median), seconds(worst), n))
	f.Note = "From the first byte of the console's word of the tag to the whole request at the controller."
	switch {
	case worst > l.fail.Seconds():
		f.Verdict = checklist.Failed
		f.Note = fmt.Sprintf("Delay %s, limit %g s: players lift a tag before anything happens. Look at how often the firmware polls and what it waits for before it writes. ", seconds(worst), l.fail.Seconds()) + f.Note
	case worst > l.pass.Seconds():
		f.Note = fmt.Sprintf("Note: slower than %g s, which players begin to notice (from experience, no source). ", l.pass.Seconds()) + f.Note
	}
	return f
}
