package link

import (
	"context"
	"fmt"
	"time"

	"propwright/checklist"
)

// AtRestart is the kind of check "coil-at-restart": what a coil does when the board
// restarts with the tag lying there (the plan's at_boot) or with a toggled coil on
// (after_reset). Its figures come from the step's parameters (connect_within,
// on_within, off_within, watch).
type AtRestart struct{ StandIn Switch }

// Console is true: the restart is seen there.
func (AtRestart) Console() bool { return true }

const (
	measureRestart = "coil-at-restart"

	seenOn      = "on"
	seenOff     = "off"
	seenNothing = "nothing written"
	notBack     = "no connection after the restart"
)

// stateStep is a running step on a coil's states.
type stateStep struct {
	s                          *checklist.Scene
	w                          showing
	planned                    string
	connect, watch, start, off time.Duration
}

func stateOf(s *checklist.Scene, console bool) *stateStep {
	r := s.Reader()
	return &stateStep{s: s, w: showing{reader: r, several: len(s.Item.Readers) > 1, console: console}, planned: r.Planned(s.Step.Planned)}
}

// Run restarts the board and looks at the coil. It returns errors of the log, the
// person and the step's parameters.
func (k AtRestart) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	v := stateOf(s, true)
	if err := figures(s.Step, map[string]*time.Duration{
		"on_within": &v.w.onWithin, "off_within": &v.w.offWithin, "connect_within": &v.connect, "watch": &v.watch,
	}); err != nil {
		return nil, err
	}
	if absent(k.StandIn) {
		return noStandIn(), nil
	}
	if done := s.Measures(measureRestart); len(done) > 0 {
		return []checklist.Finding{v.restartFinding(done[0])}, nil
	}
	if ok, refused, err := s.ClearRoom(ctx); err != nil || !ok {
		return refused, err
	}
	if err := tidy(ctx, s); err != nil {
		return nil, err
	}
	if _, ok, err := awaitConnection(ctx, s, v.connect); err != nil || !ok {
		return []checklist.Finding{diagnose(s, v.connect)}, err
	}
	before, err := v.arrange(ctx)
	if err != nil {
		return nil, err
	}
	m := checklist.Measure{Name: measureRestart, Reader: v.w.reader.Index, Unit: "1", Params: map[string]string{"before": before.result}, Rests: before.rests()}
	if before.result == resultOK {
		if m.Params["seen"], m.Rests, err = v.restart(ctx, m.Rests); err != nil {
			return nil, err
		}
	}
	e, err := s.Measure(m)
	if err != nil {
		return nil, err
	}
	return []checklist.Finding{v.restartFinding(e)}, v.putBack(ctx)
}

// arrange brings about what the restart is to find: the tag lying there, or the
// toggled coil on.
func (v *stateStep) arrange(ctx context.Context) (p shown, err error) {
	if v.s.Step.Planned == checklist.PlannedAtBoot {
		p.event, err = placeSeen(ctx, v.s, v.w, v.s.Log.Len())
		if p.result = resultNotRead; p.event.N != 0 {
			p.result = resultOK
		}
		return p, err
	}
	return v.toggledOn(ctx)
}

// toggledOn shows the tag until the coil is on, twice at most.
func (v *stateStep) toggledOn(ctx context.Context) (p shown, err error) {
	for range 2 {
		if p, err = show(ctx, v.s, v.w); err != nil || p.result != resultOK {
			return p, err
		}
		if _, on, _ := written(p.on); on {
			return p, nil
		}
	}
	p.result = "not switched on by two presentations"
	return p, nil
}

// restart resets the board and returns the last that it wrote to the coil since.
func (v *stateStep) restart(ctx context.Context, rests []checklist.Ref) (seen string, _ []checklist.Ref, err error) {
	boot, booted, err := v.s.Reset(ctx)
	if err != nil || !booted {
		return notBack, rests, err
	}
	rests = append(rests, checklist.RefsOf(boot)...)
	conn, ok, err := v.s.Await(ctx, checklist.CursorAt(boot.N), v.connect, func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) })
	if err != nil || !ok {
		return notBack, rests, err
	}
	rests = append(rests, checklist.RefsOf(conn)...)
	seen = seenNothing
	err = v.s.Observe(ctx, "coil after a restart", checklist.CursorAt(boot.N), v.watch, func(e checklist.Entry) {
		if coil, on, ok := written(e); ok && coil == v.w.reader.Coil {
			rests = append(rests, checklist.RefsOf(e)...)
			if on || v.w.reader.Behaviour != behaviourPulse || seen != seenOn { // a pulse that was is over by now
				seen = onOff(on)
			}
		}
	})
	return seen, rests, err
}

// putBack lifts the tag, or toggles the coil off.
func (v *stateStep) putBack(ctx context.Context) error {
	if handsOf(v.s).tagOn {
		return take(ctx, v.s, v.w)
	}
	if e, ok := v.lastWrite(); !ok || v.w.reader.Behaviour != behaviourToggle {
		return nil
	} else if _, on, _ := written(e); !on {
		return nil
	}
	_, err := show(ctx, v.s, v.w)
	return err
}

// lastWrite is the last write to the coil on record.
func (v *stateStep) lastWrite() (last checklist.Entry, ok bool) {
	for _, e := range v.s.Log.Entries(0) {
		if coil, _, wrote := written(e); wrote && coil == v.w.reader.Coil {
			last, ok = e, true
		}
	}
	return last, ok
}

// restartFinding is the finding on a restart, from its record.
func (v *stateStep) restartFinding(e checklist.Entry) checklist.Finding {
	m := e.Measure
	f := checklist.Finding{
		What: "coil at boot with a tag lying there", How: checklist.Measured, Verdict: checklist.Passed, Reader: m.Reader,
		Rests: append(checklist.RefsOf(e), m.Rests...), Limit: ptr(checklist.Text(v.planned)),
	}
	wanted, wrong := m.Params["seen"], "Players who find the tag where the last group left it start with the prop solved, or with one that does not answer; the plan says which is meant."
	switch {
	case v.s.Step.Planned == checklist.PlannedAfterReset:
		f.What, wrong = "toggled coil after a restart", "After a restart in the middle of a show the coil is not as the plan has it."
		if wanted = "keeps"; m.Params["seen"] == seenOff {
			wanted = "off"
		}
	case wanted == seenNothing:
		wanted = seenOff // a board that writes nothing leaves the coil off
	}
	f.Value = checklist.Text(wanted)
	switch {
	case m.Params["before"] != resultOK:
		f.Verdict, f.Value = checklist.NotConfirmed, checklist.Text(m.Params["before"])
		f.Note = "What the restart was to find could not be brought about, so nothing was tried."
	case m.Params["seen"] == notBack:
		f.Verdict, f.Value, f.Note = checklist.Failed, checklist.Text(notBack), "See the step link."
	case wanted != v.planned:
		f.Verdict, f.Note = checklist.Failed, wrong
	}
	return f
}

// WhenDead is the kind of check "coil-when-dead": the board loses its supply with the
// coil on, and comes back with no tag there. Its figures come from the step's
// parameters (start_within, on_within, off_within, dead_for).
type WhenDead struct{ StandIn Switch }

// Console is false: the board is on its own supply.
func (WhenDead) Console() bool { return false }

const measureDead = "coil-when-dead"

// Run cuts the supply and gives it back. It returns errors of the log, the person and
// the step's parameters.
func (k WhenDead) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	v := stateOf(s, false)
	if err := figures(s.Step, map[string]*time.Duration{
		"on_within": &v.w.onWithin, "off_within": &v.w.offWithin, "start_within": &v.start, "dead_for": &v.off,
	}); err != nil {
		return nil, err
	}
	switch {
	case absent(k.StandIn):
		return noStandIn(), nil
	case v.w.reader.Behaviour == behaviourPulse:
		return []checklist.Finding{{
			What: "coil while the board is dead", How: checklist.Planned, Verdict: checklist.NotConfirmed, Reader: v.w.reader.Index, Value: checklist.Text("not tried"),
			Limit: ptr(checklist.Text(v.planned)), Note: "A pulse is over before hands can cut the supply.",
		}}, nil
	}
	done := s.Measures(measureDead)
	if len(done) == 0 {
		if ok, refused, err := s.ClearRoom(ctx); err != nil || !ok {
			return refused, err
		}
		s.ExpectDetach()
		m, err := v.die(ctx)
		if err != nil {
			return nil, err
		}
		e, err := s.Measure(m)
		if err != nil {
			return nil, err
		}
		if err := v.putBack(ctx); err != nil {
			return nil, err
		}
		done = append(done, e)
	}
	return v.deadFindings(done[0]), nil
}

// die switches the coil on, cuts the supply, and gives it back without the tag.
func (v *stateStep) die(ctx context.Context) (m checklist.Measure, err error) {
	m = checklist.Measure{Name: measureDead, Reader: v.w.reader.Index, Unit: "1", Params: map[string]string{}}
	if err := v.onOwnSupply(ctx); err != nil {
		return m, err
	}
	on, err := v.switchOn(ctx)
	if err != nil {
		return m, err
	}
	m.Rests = on.rests()
	if m.Params["before"] = on.result; on.result != resultOK {
		return m, nil
	}
	mark := v.s.Log.Len()
	if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActSupplyOff, Text: "Switch the board's own supply off, with everything as it is."}); err != nil {
		return m, err
	}
	if err := v.s.Observe(ctx, "board dead with its coil on", v.s.Cursor(), v.off, nil); err != nil {
		return m, err
	}
	m.Params["dead"] = v.lastSince(mark, &m)
	if handsOf(v.s).tagOn {
		if err := take(ctx, v.s, v.w); err != nil {
			return m, err
		}
	}
	mark = v.s.Log.Len()
	c := v.s.Cursor()
	if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActSupplyOn, Text: "Switch the board's own supply on again."}); err != nil {
		return m, err
	}
	conn, ok, err := v.s.Await(ctx, c, v.start, func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) })
	if err != nil || !ok {
		m.Params["back"] = notBack
		return m, err
	}
	m.Rests = append(m.Rests, checklist.RefsOf(conn)...)
	if err := v.s.Observe(ctx, "coil after the board is back", v.s.Cursor(), v.w.offWithin, nil); err != nil {
		return m, err
	}
	m.Params["back"] = v.lastSince(mark, &m)
	return m, nil
}

// onOwnSupply sees to it that USB is away and the own supply on.
func (v *stateStep) onOwnSupply(ctx context.Context) error {
	if err := tidy(ctx, v.s); err != nil {
		return err
	}
	h := handsOf(v.s)
	if h.usbOut && h.supplyOn {
		return nil
	}
	c := v.s.Cursor()
	if !h.usbOut {
		if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActUSBOut, Text: "Take the USB cable off the board."}); err != nil {
			return err
		}
	}
	if !h.supplyOn {
		if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActSupplyOn, Text: "Switch the board's own supply on."}); err != nil {
			return err
		}
	}
	_, _, err := v.s.Await(ctx, c, v.start, func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) })
	return err
}

// switchOn has the coil on: with the tag left lying, or toggled.
func (v *stateStep) switchOn(ctx context.Context) (p shown, err error) {
	if v.w.reader.Behaviour == behaviourToggle {
		return v.toggledOn(ctx)
	}
	mark := v.s.Log.Len()
	if err := v.s.Instruct(ctx, placing(v.w)); err != nil {
		return p, err
	}
	if p.on, err = awaitWrite(ctx, v.s, checklist.CursorAt(mark), v.w.onWithin+handsTime, v.w.reader); err == nil {
		p.judge(v.w.reader, v.s.Log.Entries(mark))
	}
	return p, err
}

// lastSince is the last that was written to the coil after an entry, which m then
// rests on.
func (v *stateStep) lastSince(mark int64, m *checklist.Measure) string {
	seen := seenNothing
	for _, e := range v.s.Log.Entries(mark) {
		if coil, on, ok := written(e); ok && coil == v.w.reader.Coil {
			seen, m.Rests = onOff(on), append(m.Rests, checklist.RefsOf(e)...)
		}
	}
	return seen
}

// deadFindings are the findings on it, from its record.
func (v *stateStep) deadFindings(e checklist.Entry) []checklist.Finding {
	m := e.Measure
	rests := append(checklist.RefsOf(e), m.Rests...)
	dead := checklist.Finding{
		What: "coil while the board is dead", How: checklist.Measured, Verdict: checklist.Passed, Reader: m.Reader, Rests: rests,
		Value: checklist.Text("stays"), Limit: ptr(checklist.Text(v.planned)),
	}
	switch {
	case m.Params["before"] != resultOK:
		dead.Verdict, dead.Value = checklist.NotConfirmed, checklist.Text(m.Params["before"])
		dead.Note = "The coil was not on, so nothing was tried."
		return []checklist.Finding{dead}
	case m.Params["dead"] == seenOff:
		dead.Value = checklist.Text("off")
	case v.planned == "off":
		dead.Verdict = checklist.NotConfirmed
		dead.Note = "A dead board switches nothing, and the stand-in keeps what it was told: only a watchdog of the real controller can take the coil off. Try it there."
	}
	if dead.Verdict == checklist.Passed && dead.Value.Text != v.planned {
		dead.Verdict = checklist.Failed
	}
	want := seenOff
	if v.w.reader.Behaviour == behaviourToggle && v.w.reader.AfterReset == "keeps" {
		want = seenOn
	}
	back := checklist.Finding{
		What: "coil once the board is back", How: checklist.Measured, Verdict: checklist.Passed, Reader: m.Reader, Rests: rests,
		Value: checklist.Text(m.Params["back"]), Limit: ptr(checklist.Text(want)),
	}
	switch seen := m.Params["back"]; {
	case seen == want:
	case seen == seenNothing && want == seenOn:
		back.Value, back.Note = checklist.Text(seenOn), "Nothing was written, so the coil is as it was."
	case seen == seenNothing:
		back.Verdict = checklist.Failed
		back.Note = fmt.Sprintf("The coil was left on: after a power cut the prop stays solved until the tag was there once more. Coil %d has to be written off when the board starts.", v.w.reader.Coil)
	default:
		back.Verdict = checklist.Failed
	}
	return []checklist.Finding{dead, back}
}
