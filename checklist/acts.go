package checklist

import (
	"context"
	"time"

	"propwright/parsers"
)

const measureAct = "act"

// acts runs the small acts of a step that changes what the board stores. Each
// act's result goes on record, so that a step that was interrupted goes on after
// the last one recorded and does none twice.
type acts struct {
	s            *Scene
	hold, within time.Duration
	findings     []Finding
	fresh        int // acts done in this attempt
}

// An act is one presentation of a card with what the reader should make of it.
type act struct {
	name  string // unique within the step
	role  string
	want  parsers.Kind
	other parsers.Kind // the opposite reply
	what  string       // for the finding
	limit string       // what should come out
	bad   string       // what to call it when the opposite comes out
	note  string
	// text and figure are what the person is told, where that is more than usual.
	text, figure string
	// program: the card is shown in programming mode.
	program bool
}

// do runs an act, or takes its result from the log.
func (a *acts) do(ctx context.Context, x act) (ok bool, err error) {
	if result, done := a.done(x); done {
		return result == x.limit, nil
	}
	result, seen, err := a.perform(ctx, x)
	if err != nil {
		return false, err
	}
	return result == x.limit, a.record(x, result, seen)
}

// done takes an act's result from the log, if it is there.
func (a *acts) done(x act) (result string, done bool) {
	for _, m := range a.s.Measures(measureAct) {
		if m.Measure.Params["act"] == x.name {
			result = m.Measure.Params["result"]
			a.finding(x, result, m.Measure.Rests)
			return result, true
		}
	}
	return "", false
}

// record puts an act's result on record.
func (a *acts) record(x act, result string, seen []Entry) error {
	a.fresh++
	m := Measure{Name: measureAct, Value: 1, Unit: "1", Params: map[string]string{"act": x.name, "result": result}, Rests: RefsOf(seen...)}
	if result != x.limit {
		m.Value = 0
	}
	if _, err := a.s.Measure(m); err != nil {
		return err
	}
	a.finding(x, result, m.Rests)
	return nil
}

func (a *acts) finding(x act, result string, rests []Ref) {
	f := Finding{What: x.what, How: Measured, Verdict: Passed, Value: Text(result), Limit: ptr(Text(x.limit)), Rests: rests}
	if result != x.limit {
		f.Verdict, f.Note = Failed, x.note
	}
	a.findings = append(a.findings, f)
}

func (a *acts) perform(ctx context.Context, x act) (result string, seen []Entry, err error) {
	if x.program {
		in, ok, err := a.s.toggle(ctx, parsers.KindProgramEnter, a.hold, a.within)
		if err != nil {
			return "", nil, err
		}
		if !ok {
			return "programming mode not entered", a.s.Earlier(), nil
		}
		seen = append(seen, in)
	}
	reply, ok, err := a.present(ctx, x)
	if err != nil {
		return "", nil, err
	}
	result = "no reply"
	switch {
	case ok && reply.Event.Kind == x.want:
		result = x.limit
	case ok:
		result = x.bad
	}
	if ok {
		seen = append(seen, reply)
	}
	if !x.program {
		if len(seen) == 0 {
			seen = a.s.Earlier()
		}
		return result, seen, nil
	}
	out, left, err := a.s.toggle(ctx, parsers.KindProgramExit, a.hold, a.within)
	if err != nil {
		return "", nil, err
	}
	if !left {
		return "programming mode not left", seen, nil
	}
	return result, append(seen, out), nil
}

// present shows the card. Where the step was interrupted, the act may have been
// done with nobody listening: a list change that comes out the wrong way round is
// then asked for once more.
func (a *acts) present(ctx context.Context, x act) (Entry, bool, error) {
	p := Presentation{
		Role: x.role, Act: ActPresent, Hold: a.hold, Within: a.within, Kinds: []parsers.Kind{x.want, x.other}, Text: x.text, Figure: x.figure,
	}
	c := a.s.Cursor()
	reply, ok, err := a.s.Present(ctx, p)
	if err != nil || !ok {
		return reply, ok, err
	}
	if err := a.s.Lift(ctx, c, time.Second); err != nil {
		return reply, ok, err
	}
	if x.program && reply.Event.Kind == x.other && a.s.Attempt > 1 && a.fresh == 0 {
		if err := a.s.Note("step %s: %s was changed during the interruption and is changed back", a.s.Step.ID, x.role); err != nil {
			return reply, ok, err
		}
		return a.s.Present(ctx, p)
	}
	return reply, ok, nil
}

func addCard(name, role, what string) act {
	return act{name: name, role: role, program: true, want: parsers.KindCardAdded, other: parsers.KindCardRemoved,
		what: what, limit: "added", bad: "removed", note: "The card was not put on the list."}
}

func removeCard(name, role, what string) act {
	return act{name: name, role: role, program: true, want: parsers.KindCardRemoved, other: parsers.KindCardAdded,
		what: what, limit: "removed", bad: "added", note: "The card was not taken off the list."}
}

func acceptCard(name, role, what, bad, note string) act {
	return act{name: name, role: role, want: parsers.KindCardAccepted, other: parsers.KindCardRefused,
		what: what, limit: "accepted", bad: bad, note: note}
}

func refuseCard(name, role, what, bad, note string) act {
	return act{name: name, role: role, want: parsers.KindCardRefused, other: parsers.KindCardAccepted,
		what: what, limit: "refused", bad: bad, note: note}
}
