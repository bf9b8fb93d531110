package link

import (
	"context"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// InService is the kind of check "in-service": USB away, the board on its own
// supply only. It must find the controller and switch its coil, do so after each
// of several cold starts, and come back when the controller was away. Its figures
// come from the step's parameters (start_within, cold_starts, off_for, on_within,
// off_within). With switch_within the whole room goes off and on as well, and the
// board has that long more for the room's network switch.
type InService struct{ StandIn Switch }

// Console is false: the board's console is what USB takes away with it.
func (InService) Console() bool { return false }

const (
	measureStart = "cold-start"
	measureAway  = "controller-away"
	noConnection = "no connection"

	// awayTime is how long the controller is off: longer than a board waits for an
	// answer, shorter than patience. From experience, no source.
	awayTime = 20 * time.Second
	// deadStarts in a row from the first on mean that the board does not live on its
	// own supply; more would tell nothing new.
	deadStarts = 4
)

// service is a running in-service step.
type service struct {
	s              *checklist.Scene
	sw             Switch
	readers        []checklist.Reader // that take turns at the starts
	start, off     time.Duration
	onWith, offWth time.Duration
	starts         int
	network        time.Duration // that the room's network switch may take; 0: the room stays on
}

func (k InService) of(s *checklist.Scene) (v *service, err error) {
	v = &service{s: s, sw: k.StandIn, readers: readers(s.Item)}
	if v.starts, err = s.Step.Int("cold_starts"); err != nil {
		return nil, err
	}
	v.starts++ // the first one, when USB has just gone, counts as well
	v.starts = max(v.starts, len(v.readers))
	into := map[string]*time.Duration{
		"start_within": &v.start, "off_for": &v.off, "on_within": &v.onWith, "off_within": &v.offWth,
	}
	if _, given := s.Step.Params["switch_within"]; given {
		into["switch_within"] = &v.network
	}
	return v, figures(s.Step, into)
}

// Run takes USB away and starts the board from cold, again and again. It returns
// errors of the log, the person, the stand-in's address and the step's parameters.
func (k InService) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	v, err := k.of(s)
	if err != nil {
		return nil, err
	}
	if absent(k.StandIn) {
		return noStandIn(), nil
	}
	if ok, refused, err := s.ClearRoom(ctx); err != nil || !ok {
		return refused, err
	}
	s.ExpectDetach()
	if err := tidy(ctx, s); err != nil {
		return nil, err
	}
	// A run that was interrupted with the controller off must not leave it off.
	if err := k.StandIn.Resume(); err != nil {
		return nil, err
	}
	if err := v.unplug(ctx); err != nil {
		return nil, err
	}
	for !v.dead() && len(v.done()) < v.starts {
		if err := v.coldStart(ctx); err != nil {
			return nil, err
		}
	}
	findings := v.judgeStarts()
	if v.dead() {
		return findings, nil
	}
	// A board that hung at its last start cannot show that it comes back.
	if starts := v.done(); len(starts) > 0 && failedStart(starts[len(starts)-1]) && len(s.Measures(measureAway)) == 0 {
		return append(findings, checklist.Finding{
			What: "controller away and back", How: checklist.Measured, Verdict: checklist.NotConfirmed,
			Value: checklist.Text("not tried"), Note: "The board hung at the last cold start, so there was nothing that could come back.",
			Rests: checklist.RefsOf(starts[len(starts)-1]),
		}), nil
	}
	if len(s.Measures(measureAway)) == 0 {
		if err := v.away(ctx); err != nil {
			return nil, err
		}
	}
	findings = append(findings, v.awayFinding())
	if v.network == 0 {
		return findings, nil
	}
	if len(s.Measures(measureRoom)) == 0 {
		if err := v.roomOffAndOn(ctx); err != nil {
			return nil, err
		}
	}
	return append(findings, v.roomFinding()), nil
}

// done are the starts on record.
func (v *service) done() []checklist.Entry { return v.s.Measures(measureStart) }

// dead reports whether no start ever worked, after enough of them.
func (v *service) dead() bool {
	starts := v.done()
	for _, e := range starts {
		if !failedStart(e) {
			return false
		}
	}
	return len(starts) >= min(deadStarts, v.starts)
}

// unplug takes USB away, if it is not away already, and waits until the board is
// without power as far as anyone can see.
func (v *service) unplug(ctx context.Context) error {
	if handsOf(v.s).usbOut {
		return nil
	}
	c := v.s.Cursor()
	if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActUSBOut, Text: "Take the USB cable off the board. Its own supply stays off for now."}); err != nil {
		return err
	}
	_, _, err := v.s.Await(ctx, c, handsTime, func(e checklist.Entry) bool {
		return isFrame(e, checklist.FrameClosed) || checklist.IsKind(e, parsers.KindDetached)
	})
	return err
}

// coldStart switches the own supply on and shows a tag once the board is there.
func (v *service) coldStart(ctx context.Context) error {
	if handsOf(v.s).supplyOn {
		if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActSupplyOff, Text: "Switch the board's own supply off."}); err != nil {
			return err
		}
	}
	if err := v.s.Observe(ctx, "supply off before a cold start", v.s.Cursor(), v.off, nil); err != nil {
		return err
	}
	c := v.s.Cursor()
	if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActSupplyOn, Text: "Switch the board's own supply on."}); err != nil {
		return err
	}
	on := v.s.Now()
	conn, ok, err := v.s.Await(ctx, c, v.start, func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) })
	if err != nil {
		return err
	}
	p, turn := shown{result: noConnection}, v.readers[len(v.done())%len(v.readers)]
	waited := v.s.Now().Sub(on).Seconds()
	if ok {
		if p, err = show(ctx, v.s, v.showing(turn)); err != nil {
			return err
		}
	}
	m := measureOf(measureStart, turn, p, conn)
	m.Params["waited_s"] = number(waited)
	_, err = v.s.Measure(m)
	return err
}

func (v *service) showing(r checklist.Reader) showing {
	return showing{reader: r, several: len(v.readers) > 1, onWithin: v.onWith, offWithin: v.offWth}
}

// away switches the controller off for a while and sees the board come back, by
// itself or when it next has something to write.
func (v *service) away(ctx context.Context) error {
	if err := v.sw.Pause(); err != nil {
		return err
	}
	waitErr := v.s.Observe(ctx, "controller away", v.s.Cursor(), awayTime, nil)
	c := v.s.Cursor()
	if err := v.sw.Resume(); err != nil {
		return err
	}
	if waitErr != nil {
		return waitErr
	}
	back := v.s.Now()
	isConn := func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) }
	conn, byItself, err := v.s.Await(ctx, c, v.start, isConn)
	if err != nil {
		return err
	}
	waited := v.s.Now().Sub(back).Seconds()
	first := v.readers[0]
	p, err := show(ctx, v.s, v.showing(first))
	if err != nil {
		return err
	}
	m := measureOf(measureAway, first, p, conn)
	m.Value, m.Unit = waited, "s"
	m.Params["by_itself"] = "no"
	if byItself {
		m.Params["by_itself"] = "yes"
	}
	_, err = v.s.Measure(m)
	return err
}
