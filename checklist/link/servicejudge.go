package link

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"propwright/checklist"
)

// failedStart reports whether a start on record came to nothing: no connection,
// or no coil written. Which coil it was is another finding's matter.
func failedStart(e checklist.Entry) bool {
	r := e.Measure.Params["result"]
	return r == noConnection || r == resultNoWrite
}

// judgeStarts comes to the findings on the own supply, the cold starts and the
// coil, from the starts on record.
func (v *service) judgeStarts() []checklist.Finding {
	starts := v.done()
	failed := 0
	for _, e := range starts {
		if failedStart(e) {
			failed++
		}
	}
	n := len(starts)
	// What a start rests on is spelt out for those that came to nothing.
	rests := checklist.RefsOf(starts...)
	own := checklist.Finding{
		What: "own supply", How: checklist.Measured, Verdict: checklist.Passed, Rests: rests,
		Value: checklist.Text(fmt.Sprintf("in service in %d of %d starts, USB away", n-failed, n)), Limit: ptr(checklist.Text("in service with USB away")),
	}
	if failed == n {
		own.Verdict = checklist.Failed
		own.Value = checklist.Text(fmt.Sprintf("dead on its own supply, 0 of %d starts in service", n))
		own.Note = "No connection under USB either, so this need not be the supply: see the step link."
		if before := v.underUSB(); len(before) > 0 {
			own.Value = checklist.Text(fmt.Sprintf("fine on USB, dead on its own supply: 0 of %d starts in service", n))
			own.Note = "Measure the supply's voltage at the board under load when the radio comes on; a weak or long-wired adapter sags."
			own.Rests = append(checklist.RefsOf(before...), rests...)
		}
	}
	f := checklist.Finding{
		What: "cold starts", How: checklist.Measured, Verdict: checklist.Passed, Rests: rests,
		Value: checklist.Number(float64(failed), "1", fmt.Sprintf("%d of %d starts failed", failed, n)), Limit: ptr(checklist.Number(0, "1", "none failed")),
	}
	if failed > 0 {
		f.Verdict = checklist.Failed
		f.Note = "Starts failed: " + reasons(starts) + ". A board that hangs at some starts leaves the room waiting after each power cut."
	}
	findings := []checklist.Finding{own, f}
	for _, r := range v.readers {
		findings = append(findings, coilInService(r, starts)...)
	}
	return findings
}

// reasons counts how starts failed.
func reasons(starts []checklist.Entry) string {
	count := map[string]int{}
	for _, e := range starts {
		if failedStart(e) {
			count[e.Measure.Params["result"]]++
		}
	}
	var parts []string
	for _, r := range slices.Sorted(maps.Keys(count)) {
		parts = append(parts, fmt.Sprintf("%s %d times", r, count[r]))
	}
	return strings.Join(parts, ", ")
}

// coilInService is the finding on what a reader's coil did in its starts that
// worked; none where none did.
func coilInService(r checklist.Reader, starts []checklist.Entry) []checklist.Finding {
	worked := slices.DeleteFunc(slices.Clone(starts), func(e checklist.Entry) bool { return failedStart(e) || e.Measure.Reader != r.Index })
	if len(worked) == 0 {
		return nil
	}
	good := 0
	bad := ""
	for _, e := range worked {
		if e.Measure.Params["result"] == resultOK {
			good++
		} else if bad == "" {
			bad = e.Measure.Params["result"]
			if coil := e.Measure.Params["coil"]; bad == resultWrongCoil {
				bad = fmt.Sprintf("coil %s seen, coil %d planned", coil, r.Coil)
			}
		}
	}
	f := checklist.Finding{
		What: "coil in service", How: checklist.Measured, Verdict: checklist.Passed, Reader: r.Index, Rests: checklist.RefsOf(worked...),
		Value: checklist.Number(float64(good), "1", fmt.Sprintf("coil %d %s %d of %d", r.Coil, acted(r), good, len(worked))), Limit: ptr(checklist.Number(float64(len(worked)), "1", "every time")),
	}
	if good < len(worked) {
		f.Verdict, f.Note = checklist.Failed, "What else was seen: "+bad+"."
	}
	return []checklist.Finding{f}
}

// underUSB are connections and writes from before USB was taken away.
func (v *service) underUSB() []checklist.Entry {
	var frames []checklist.Entry
	for _, e := range v.s.Log.Entries(0) {
		if e.Instruct != nil && e.Instruct.Act == checklist.ActUSBOut {
			break
		}
		if _, _, wrote := written(e); wrote || isFrame(e, checklist.FrameConnected) {
			frames = append(frames, e)
		}
	}
	if len(frames) > 4 {
		frames = frames[len(frames)-4:]
	}
	return frames
}

// awayFinding is the finding on the controller's absence, from its record.
func (v *service) awayFinding() checklist.Finding {
	e := v.s.Measures(measureAway)[0]
	m := e.Measure
	f := checklist.Finding{
		What: "controller away and back", How: checklist.Measured, Verdict: checklist.Passed, Rests: append(checklist.RefsOf(e), m.Rests...),
		Value: checklist.Number(m.Value, "s", fmt.Sprintf("reconnected after %.1f s", m.Value)),
		Limit: ptr(checklist.Number(v.start.Seconds(), "s", fmt.Sprintf("within %g s", v.start.Seconds()))),
	}
	wrote := m.Params["value"] != ""
	switch {
	case !wrote:
		f.Verdict = checklist.Failed
		f.Value.Text = fmt.Sprintf("not back %.0f s after the controller", m.Value)
		if m.Params["by_itself"] == "yes" {
			f.Value.Text = fmt.Sprintf("reconnected after %.1f s, coil not written", m.Value)
		}
		f.Note = "After the controller's restart a tag no longer reaches it until somebody resets the board."
	case m.Params["by_itself"] == "no":
		f.Value.Text = "reconnected only when it had something to write"
		f.Note = "Note: nothing was heard of the board until the next tag, whose write came all the same."
	}
	return f
}
