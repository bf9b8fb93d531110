package link

import (
	"context"
	"fmt"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// The results of a coil trial.
const (
	resultOK        = "ok"
	resultNoWrite   = "no write"
	resultWrongCoil = "wrong coil"
	resultRefused   = "refused by the controller"
	resultStaysOn   = "on without off"
	resultNotRead   = "tag not read"
	resultCard      = "card refused"
)

// How the coil of a reader may behave, as the plan says it.
const (
	behaviourPulse  = "pulse"
	behaviourToggle = "toggle"
)

// acted is what one presentation makes a coil do, as planned.
func acted(r checklist.Reader) string {
	if r.Behaviour == behaviourToggle {
		return "switched"
	}
	return "on and off"
}

// A shown tag is what one presentation came to, on both sides.
type shown struct {
	result  string
	event   checklist.Entry // the console's first word of the tag, where there is a console
	on, off checklist.Entry // the frames
	delay   float64         // from the event's first byte to the frame, seconds; may be negative
	timed   bool
}

// rests is the evidence of the presentation.
func (p shown) rests() []checklist.Ref { return checklist.RefsOf(p.event, p.on, p.off) }

// A showing says how to present.
type showing struct {
	reader    checklist.Reader
	several   bool          // the board has several readers
	console   bool          // the board's console is there to see the tag
	onWithin  time.Duration // for the write after the tag is there
	offWithin time.Duration
	text      string // appended to the instruction
}

// show lays the prop's own tag on the reader, waits for the write, lifts it and
// waits for the write back, as the planned behaviour has it.
func show(ctx context.Context, s *checklist.Scene, w showing) (p shown, err error) {
	mark := s.Log.Len()
	if w.console {
		if p.event, err = placeSeen(ctx, s, w, mark); err != nil {
			return p, err
		}
		if p.event.N == 0 {
			p.result = resultNotRead
			return p, take(ctx, s, w)
		}
		mark = lastAsked(s.Log.Entries(mark), mark)
	} else if err := s.Instruct(ctx, placing(w)); err != nil {
		return p, err
	}
	within := w.onWithin
	if !w.console {
		within += handsTime
	}
	if p.on, err = awaitWrite(ctx, s, checklist.CursorAt(mark), within, w.reader); err != nil {
		return p, err
	}
	p.judge(w.reader, s.Log.Entries(mark))
	if p.on.N == 0 || p.result == resultRefused {
		return p, take(ctx, s, w)
	}
	if w.reader.Behaviour == behaviourToggle {
		return p, take(ctx, s, w) // stays as it is until the next presentation
	}
	return p, p.await(ctx, s, w)
}

// await waits for the write back. A pulse ends by itself, with the tag lying
// there; otherwise the tag is lifted first.
func (p *shown) await(ctx context.Context, s *checklist.Scene, w showing) (err error) {
	coil, _, _ := written(p.on)
	back := func(e checklist.Entry) bool {
		c, on, ok := written(e)
		return ok && c == coil && !on
	}
	c := checklist.CursorAt(p.on.N)
	within := w.offWithin
	if w.reader.Behaviour != behaviourPulse {
		if err := take(ctx, s, w); err != nil {
			return err
		}
		if !w.console {
			within += handsTime
		}
	}
	off, seen, err := s.Await(ctx, c, within, back)
	if err != nil {
		return err
	}
	switch {
	case seen:
		p.off = off
	case p.result == resultOK:
		p.result = resultStaysOn
	}
	if w.reader.Behaviour == behaviourPulse {
		return take(ctx, s, w)
	}
	return nil
}

// judge names the result from the first write and what the console said.
func (p *shown) judge(r checklist.Reader, since []checklist.Entry) {
	coil, _, ok := written(p.on)
	switch {
	case !ok:
		p.result = resultNoWrite
		for _, e := range since {
			if checklist.IsKind(e, parsers.KindCardRefused) && checklist.Concerns(e, r.Index) {
				p.result, p.event = resultCard, e
			}
		}
	case p.on.Frame.Answer != "ok":
		p.result = resultRefused
	case r.Coil >= 0 && coil != r.Coil:
		p.result = resultWrongCoil
	default:
		p.result = resultOK
	}
	if ok && p.event.N != 0 {
		first := p.event.Event.First
		if first.IsZero() {
			first = p.event.At
		}
		p.delay, p.timed = p.on.Frame.At.Sub(first).Seconds(), true
	}
}

// placeSeen lays the tag and returns the console's first word of it, the zero
// entry when it was not read, after some tries.
func placeSeen(ctx context.Context, s *checklist.Scene, w showing, mark int64) (checklist.Entry, error) {
	for range 3 {
		in := placing(w)
		_, ok, err := s.Present(ctx, checklist.Presentation{
			Role: checklist.RoleShow, Act: checklist.ActPlace, Reader: w.reader.Index, Within: handsTime, Text: in.Text,
			Kinds: []parsers.Kind{parsers.KindTagPresent, parsers.KindCardAccepted, parsers.KindCardRefused},
		})
		if err != nil {
			return checklist.Entry{}, err
		}
		if ok {
			for _, e := range s.Log.Entries(lastAsked(s.Log.Entries(mark), mark)) {
				if checklist.IsKind(e, parsers.KindTagPresent, parsers.KindCardAccepted, parsers.KindCardRefused) && checklist.Concerns(e, w.reader.Index) {
					return e, nil
				}
			}
		}
		if err := take(ctx, s, w); err != nil {
			return checklist.Entry{}, err
		}
		if err := s.Pause(ctx, time.Second); err != nil {
			return checklist.Entry{}, err
		}
	}
	return checklist.Entry{}, nil
}

// lastAsked is the number of the last instruction to lay the tag: what came
// before that belongs to another try.
func lastAsked(entries []checklist.Entry, otherwise int64) int64 {
	for _, e := range entries {
		if e.Instruct != nil && e.Instruct.Act == checklist.ActPlace {
			otherwise = e.N
		}
	}
	return otherwise
}

// awaitWrite waits for the write that a tag causes: to the planned coil, or,
// where that does not come soon after one to another coil, for that one. Where a
// coil follows or pulses, only switching on counts.
func awaitWrite(ctx context.Context, s *checklist.Scene, c *checklist.Cursor, within time.Duration, r checklist.Reader) (checklist.Entry, error) {
	var other checklist.Entry
	match := func(e checklist.Entry) bool {
		coil, on, ok := written(e)
		if !ok || (!on && r.Behaviour != behaviourToggle) {
			return false
		}
		if r.Coil < 0 || coil == r.Coil {
			return true
		}
		if other.N == 0 {
			other = e
			return true
		}
		return false
	}
	e, seen, err := s.Await(ctx, c, within, match)
	if err != nil || !seen || e.N != other.N {
		return e, err
	}
	right, seen, err := s.Await(ctx, c, otherCoilTime, match)
	if err != nil || seen {
		return right, err
	}
	return other, nil
}

// otherCoilTime is how long the planned coil may come after another one.
const otherCoilTime = time.Second

func placing(w showing) checklist.Instruction {
	which := "the reader"
	if w.several {
		which = fmt.Sprintf("reader %d", w.reader.Index)
	}
	return checklist.Instruction{
		Act: checklist.ActPlace, Role: checklist.RoleShow, Reader: w.reader.Index,
		Text: fmt.Sprintf("Lay the prop's own tag on %s and leave it there%s.", which, w.text),
	}
}

func take(ctx context.Context, s *checklist.Scene, w showing) error {
	c := s.Cursor()
	if err := s.Instruct(ctx, checklist.Instruction{Act: checklist.ActTake, Role: checklist.RoleShow, Reader: w.reader.Index, Text: "Lift the tag."}); err != nil {
		return err
	}
	if !w.console || s.Item.Board.Leaving != "reported" {
		return nil
	}
	// The next tag must not be laid before this one is gone.
	_, _, err := s.AwaitKind(ctx, c, w.offWithin, parsers.KindTagAbsent)
	return err
}
