package checklist

import (
	"context"
	"fmt"
	"time"

	"propwright/parsers"
)

// presentTime and shortHold: how long a reply may take, and how long a tag is
// shown that is not meant to lie.
type presentTime = time.Duration

const shortHold = 700 * time.Millisecond

// checkProgramming goes into programming mode and out again, and then finds out
// how long is too long to hold the master.
func checkProgramming(ctx context.Context, s *Scene) ([]Finding, error) {
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	hold, err := s.Step.Seconds("hold")
	if err != nil {
		return nil, err
	}
	long, err := s.Step.Seconds("hold_long")
	if err != nil {
		return nil, err
	}
	if err := s.outOfProgramming(ctx); err != nil {
		return nil, err
	}
	enter := Finding{What: "programming mode entered", How: Measured, Limit: ptr(Text("entered"))}
	e, in, err := s.toggle(ctx, parsers.KindProgramEnter, hold, within)
	if err != nil {
		return nil, err
	}
	if !in {
		enter.Verdict, enter.Value, enter.Rests = Failed, Text("not entered"), RefsOf(s.Earlier()...)
		enter.Note = "The master was shown and programming mode did not begin."
		return []Finding{enter}, nil
	}
	enter.Verdict, enter.Value, enter.Rests = Passed, Text("entered"), RefsOf(e)
	exit := Finding{What: "programming mode left", How: Measured, Limit: ptr(Text("left"))}
	e, out, err := s.toggle(ctx, parsers.KindProgramExit, hold, within)
	if err != nil {
		return nil, err
	}
	if !out {
		exit.Verdict, exit.Value, exit.Rests = Failed, Text("no exit"), RefsOf(s.Earlier()...)
		exit.Note = "The master did not end programming mode. In service any tag shown would change the list: do not install."
		return []Finding{enter, exit}, nil
	}
	exit.Verdict, exit.Value, exit.Rests = Passed, Text("left"), RefsOf(e)
	if long <= 0 {
		return []Finding{enter, exit}, nil
	}
	held, err := s.heldTooLong(ctx, long, within)
	return []Finding{enter, exit, held}, err
}

// outOfProgramming restarts the board unless it is known to be in service.
func (s *Scene) outOfProgramming(ctx context.Context) error {
	if s.Belief().Programming == No {
		return nil
	}
	if _, booted, err := s.Reset(ctx); err != nil || !booted {
		return err
	}
	return s.Settle(ctx)
}

// toggle shows the master until the wanted change is seen. A master held too long
// changes the mode twice: that is told to the person, and it is tried again.
func (s *Scene) toggle(ctx context.Context, want parsers.Kind, hold, within time.Duration) (Entry, bool, error) {
	text := ""
	for range 3 {
		p := Presentation{Role: RoleMaster, Act: ActPresent, Hold: hold, Within: within, Kinds: []parsers.Kind{want}, Text: text}
		e, ok, err := s.Present(ctx, p)
		if err != nil || !ok {
			return e, ok, err
		}
		back := parsers.KindProgramExit
		if want == back {
			back = parsers.KindProgramEnter
		}
		// A master that has been lifted switches nothing any more.
		next, seen, err := s.AwaitKind(ctx, CursorAt(e.N), time.Second, back, parsers.KindTagAbsent)
		if err != nil || !seen || !IsKind(next, back) {
			return e, err == nil, err
		}
		text = "The master was held too long and switched twice. Touch " + s.which(s.Reader().Index) + " with it and lift it at once."
		if err := s.Note("step %s: the master was held too long and switched twice; the person was told", s.Step.ID); err != nil {
			return Entry{}, false, err
		}
	}
	return Entry{}, false, nil
}

// heldTooLong holds the master on purpose and times its second switch.
func (s *Scene) heldTooLong(ctx context.Context, long, within time.Duration) (Finding, error) {
	f := Finding{What: "master held too long", How: Measured, Verdict: Passed}
	enter, ok, err := s.Present(ctx, Presentation{
		Role: RoleMaster, Act: ActPresent, Hold: long, Within: within + long, Kinds: []parsers.Kind{parsers.KindProgramEnter},
	})
	if err != nil {
		return f, err
	}
	if !ok {
		f.Verdict, f.Value, f.Rests = NotConfirmed, Text("not seen"), RefsOf(s.Earlier()...)
		return f, nil
	}
	exit, twice, err := s.AwaitKind(ctx, CursorAt(enter.N), long+time.Second, parsers.KindProgramExit)
	if err != nil {
		return f, err
	}
	if twice {
		after := exit.Event.First.Sub(enter.Event.First).Seconds()
		f.Value = Number(after, "s", fmt.Sprintf("switches back after %.1f s", after))
		f.Note = fmt.Sprintf("Lift the master within %.0f s, or programming mode ends again unnoticed.", after)
		f.Rests = RefsOf(enter, exit)
		return f, nil
	}
	f.Value = Text(fmt.Sprintf("no second switch in %g s", long.Seconds()))
	f.Rests = RefsOf(enter)
	_, _, err = s.toggle(ctx, parsers.KindProgramExit, shortHold, within)
	return f, err
}
