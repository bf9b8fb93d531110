package link

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// A Disturber is a controller's side that can be made to misbehave; *StandIn is one.
type Disturber interface {
	Switch
	// Mute has requests taken and left without an answer, until it is called with false.
	Mute(on bool)
	// Drop ends the connections that are open and goes on listening.
	Drop() error
}

// Recovery is the kind of check "link-recovery": the controller restarts; it takes a
// write and does not answer; it ends its connections again and again. After each the
// prop's own tag has to reach its coil. It is for the stand-in only, at the bench: a
// controller in use is disturbed by nobody. Its figures come from the step's parameters
// (connect_within, recover_within, away_for, silent_for, drops, drops_within, on_within,
// off_within): the connections are ended drops times, or as often as drops_within has
// room for, since how soon a board dials again is its firmware's.
type Recovery struct{ StandIn Switch }

// Console is false: only the controller's side is needed.
func (Recovery) Console() bool { return false }

const measureTrouble = "recovery-trial"

// The troubles, in the order in which they are made.
const (
	troubleRestart = "controller restarted"
	troubleSilent  = "controller accepts and does not answer"
	troubleDrops   = "connections ended again and again"
)

// recoveryRun is a running step.
type recoveryRun struct {
	s                              *checklist.Scene
	sw                             Disturber
	w                              showing
	connect, recover, away, silent time.Duration
	drops                          int
	dropping                       time.Duration // how long they may take
}

// Run makes each trouble and sees the board come back. It returns errors of the log,
// the person, the stand-in's address and the step's parameters.
func (k Recovery) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	r := readers(s.Item)[0]
	v := &recoveryRun{s: s, w: showing{reader: r, several: len(s.Item.Readers) > 1}}
	var err error
	if v.drops, err = s.Step.Int("drops"); err != nil {
		return nil, err
	}
	if err := figures(s.Step, map[string]*time.Duration{
		"connect_within": &v.connect, "recover_within": &v.recover, "away_for": &v.away, "silent_for": &v.silent, "drops_within": &v.dropping,
		"on_within": &v.w.onWithin, "off_within": &v.w.offWithin,
	}); err != nil {
		return nil, err
	}
	sw, ok := k.StandIn.(Disturber)
	if !ok || absent(k.StandIn) {
		return noStandIn(), nil
	}
	v.sw = sw
	if ok, refused, err := s.ClearRoom(ctx); err != nil || !ok {
		return refused, err
	}
	if err := v.settle(ctx); err != nil {
		return nil, err
	}
	if _, ok, err := awaitConnection(ctx, s, v.connect); err != nil || !ok {
		return []checklist.Finding{diagnose(s, v.connect)}, err
	}
	var findings []checklist.Finding
	for _, trouble := range []string{troubleRestart, troubleSilent, troubleDrops} {
		e, done := v.on(trouble)
		if !done {
			if e, err = v.try(ctx, trouble); err != nil {
				return nil, err
			}
		}
		f := v.finding(trouble, e)
		findings = append(findings, f)
		if f.Verdict == checklist.Failed {
			break // what does not come back cannot be disturbed again
		}
	}
	return findings, nil
}

// settle undoes what an interruption may have left.
func (v *recoveryRun) settle(ctx context.Context) error {
	v.sw.Mute(false)
	if err := v.sw.Resume(); err != nil {
		return err
	}
	return tidy(ctx, v.s)
}

// on is the record of a trouble.
func (v *recoveryRun) on(trouble string) (checklist.Entry, bool) {
	all := v.s.Measures(measureTrouble)
	k := slices.IndexFunc(all, func(e checklist.Entry) bool { return e.Measure.Params["trouble"] == trouble })
	if k < 0 {
		return checklist.Entry{}, false
	}
	return all[k], true
}

// try makes a trouble, waits for the board and shows the tag until it reaches its coil, or
// the time is over.
func (v *recoveryRun) try(ctx context.Context, trouble string) (checklist.Entry, error) {
	done, err := map[string]func(context.Context) (int, error){troubleRestart: v.restart, troubleSilent: v.mute, troubleDrops: v.dropAll}[trouble](ctx)
	if err != nil {
		return checklist.Entry{}, err
	}
	over := v.s.Now()
	conn, ok, err := awaitConnection(ctx, v.s, v.recover)
	if err != nil {
		return checklist.Entry{}, err
	}
	p := shown{result: noConnection}
	waited := v.s.Now().Sub(over)
	// A board may be connected and still wait for an answer that never came.
	for again := ok; again; again = p.result != resultOK && v.s.Now().Sub(over) < v.recover {
		if p, err = show(ctx, v.s, v.w); err != nil {
			return checklist.Entry{}, err
		}
	}
	m := measureOf(measureTrouble, v.w.reader, p, conn)
	m.Params["trouble"], m.Params["done"], m.Params["connected_s"] = trouble, strconv.Itoa(done), number(waited.Seconds())
	m.Params["connections"] = strconv.Itoa(v.connections())
	m.Value, m.Unit = v.s.Now().Sub(over).Seconds(), "s"
	if p.on.N != 0 {
		m.Value = p.on.Frame.At.Sub(over).Seconds()
	}
	return v.s.Measure(m)
}

// connections counts those since the board's last start that is on record, or since
// this process of the run began.
func (v *recoveryRun) connections() (n int) {
	for _, e := range v.s.Log.Entries(0) {
		switch {
		case e.Type == checklist.EntryRun || checklist.IsKind(e, parsers.KindBoot):
			n = 0
		case isFrame(e, checklist.FrameConnected):
			n++
		}
	}
	return n
}

func (v *recoveryRun) restart(ctx context.Context) (int, error) {
	if err := v.sw.Pause(); err != nil {
		return 0, err
	}
	err := v.s.Observe(ctx, troubleRestart, v.s.Cursor(), v.away, nil)
	if resumeErr := v.sw.Resume(); resumeErr != nil {
		return 0, resumeErr
	}
	return 1, err
}

// mute shows the tag to a controller that does not answer.
func (v *recoveryRun) mute(ctx context.Context) (int, error) {
	v.sw.Mute(true)
	defer v.sw.Mute(false)
	if err := v.s.Instruct(ctx, placing(v.w)); err != nil {
		return 0, err
	}
	if err := v.s.Observe(ctx, troubleSilent, v.s.Cursor(), v.silent, nil); err != nil {
		return 0, err
	}
	return 1, take(ctx, v.s, v.w)
}

// dropAll ends the connection again and again, and counts how often it came back.
func (v *recoveryRun) dropAll(ctx context.Context) (n int, err error) {
	for end := v.s.Now().Add(v.dropping); n < v.drops && v.s.Now().Before(end); {
		c := v.s.Cursor()
		if err := v.sw.Drop(); err != nil {
			return n, err
		}
		_, back, err := v.s.Await(ctx, c, v.recover, func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) })
		if err != nil || !back {
			return n, err
		}
		n++
	}
	return n, nil
}

func (v *recoveryRun) finding(trouble string, e checklist.Entry) checklist.Finding {
	m := e.Measure
	f := checklist.Finding{
		What: trouble, How: checklist.Measured, Verdict: checklist.Passed, Reader: m.Reader, Rests: append(checklist.RefsOf(e), m.Rests...),
		Value: checklist.Number(m.Value, "s", fmt.Sprintf("first good write after %.1f s", m.Value)),
		Limit: ptr(checklist.Number(v.recover.Seconds(), "s", fmt.Sprintf("back within %g s, by itself", v.recover.Seconds()))),
	}
	done := whole(e, "done")
	if trouble == troubleDrops {
		f.Value.Text = fmt.Sprintf("%d times, then %s", done, f.Value.Text)
	}
	switch result := m.Params["result"]; {
	case result == resultOK:
		return f
	case result == noConnection:
		f.Value.Text = fmt.Sprintf("not back after %.0f s", m.Value)
		f.Note = "The firmware has to look at its connection and dial again when it has ended; until somebody resets the board the prop is dead."
		if trouble == troubleDrops {
			f.Value.Text = fmt.Sprintf("back %d times, then no more", done)
			if n := whole(e, "connections"); slices.Contains(socketCounts, n) {
				f.Note = fmt.Sprintf("%d connections since its start are as many as a shield has sockets: the firmware opens them and does not close them. It must stop each client that has ended.", n)
			}
		}
	default:
		f.Value.Text = result
		f.Note = "The board is connected again, and its tag does not do what it did before."
	}
	f.Verdict = checklist.Failed
	return f
}
