package checklist

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"
)

// ErrVoided says that the person took a presentation back: nothing is to be put
// on record for it, and it is to be asked for again. What was taken back is on
// record already.
var ErrVoided = errors.New("that presentation did not count")

const (
	measureVoided = "voided"
	resultMissed  = "missed"

	// regretTime is how long a last presentation may still be taken back, and
	// mostGrowth how many times as long a window may become for slow hands. From
	// experience, no source.
	regretTime = 6 * time.Second
	mostGrowth = 3

	// mostVoidedMisses is how many misses a step may have taken back before its
	// figures prove nothing any more. Common practice, no source.
	mostVoidedMisses = 3
)

// Patience is how long to wait for a reply: the planned time, or longer once the
// hands of this step have shown that they are slower, three times as long at most.
func (s *Scene) Patience(planned time.Duration) time.Duration {
	return min(max(planned, 2*s.slowest), mostGrowth*planned)
}

// took remembers how long hands and reader took together.
func (s *Scene) took(d time.Duration) { s.slowest = max(s.slowest, d) }

// Regret gives the person a moment to take a last presentation back, where no
// further one follows in whose window the spare card could do so. The error is
// ErrVoided when it did.
func (s *Scene) Regret(ctx context.Context, trial string, reader int) error {
	spare, shown, err := s.Await(ctx, s.Cursor(), regretTime, s.isSpare)
	if err != nil || !shown {
		return err
	}
	return s.takeBack(ctx, Presentation{Trial: trial, Reader: reader}, spare)
}

// takeBack voids the last trial on record, unless that is done already: the spare
// card left lying takes back one trial and not one after the other.
func (s *Scene) takeBack(ctx context.Context, p Presentation, spare Entry) error {
	var last Entry
	for _, e := range s.Earlier() {
		switch {
		case e.Measure == nil:
		case e.Measure.Name == measureVoided:
			last = Entry{}
		case e.Measure.Name == p.Trial:
			last = e
		}
	}
	return s.void(ctx, p, spare, last)
}

// void puts on record that a presentation did not count, and waits until the card
// that said so is gone. of is the trial on record that is taken back; without one
// it is the presentation under way.
func (s *Scene) void(ctx context.Context, p Presentation, spare, of Entry) error {
	m := Measure{
		Name: measureVoided, Value: 1, Unit: "1", Reader: p.Reader,
		Params: map[string]string{"trial": p.Trial, "reason": "the spare card was shown: that one did not count", "result": "under way"},
		Rests:  RefsOf(spare),
	}
	if of.N > 0 {
		m.Params["entry"] = strconv.FormatInt(of.N, 10)
		m.Params["result"] = of.Measure.Params["result"]
		m.Rests = RefsOf(of, spare)
	}
	if _, err := s.Measure(m); err != nil {
		return err
	}
	s.engine.tell(Signal{Sound: SoundNeed, Word: "VOID", Figure: p.Figure})
	if err := s.Lift(ctx, CursorAt(spare.N), time.Second); err != nil {
		return err
	}
	return ErrVoided
}

// isSpare reports whether the tag of an event is the spare card of this run.
func (s *Scene) isSpare(e Entry) bool {
	uid := uidOf(e.Event)
	return uid != "" && s.Belief().RoleOf(uid) == RoleSpare
}

// standing drops the measurements that were taken back.
func standing(found, own []Entry) []Entry {
	gone := map[string]bool{}
	for _, e := range own {
		if e.Measure != nil && e.Measure.Name == measureVoided {
			gone[e.Measure.Params["entry"]] = true
		}
	}
	var left []Entry
	for _, e := range found {
		if !gone[strconv.FormatInt(e.N, 10)] {
			left = append(left, e)
		}
	}
	return left
}

// voids is the finding that presentations were taken back: never silently.
func (s *Scene) voids() []Finding {
	voided := s.Measures(measureVoided)
	if len(voided) == 0 {
		return nil
	}
	missed := 0
	for _, e := range voided {
		if e.Measure.Params["result"] == resultMissed {
			missed++
		}
	}
	n := len(voided)
	f := Finding{
		What: "presentations taken back", How: Measured, Verdict: Passed, Rests: RefsOf(voided...),
		Value: Number(float64(n), "1", fmt.Sprintf("%d taken back with the spare card, %d of them missed", n, missed)),
		Limit: ptr(Number(mostVoidedMisses, "1", fmt.Sprintf("%d misses at most", mostVoidedMisses))),
		Note:  fmt.Sprintf("Note: by the spare card the person said of %d presentations that they did not count, %d of them missed; each was asked for again.", n, missed),
	}
	if missed > mostVoidedMisses {
		f.Verdict = NotConfirmed
		f.Note = "So many misses were taken back that the figures of this step prove nothing: do it again, with steady hands."
	}
	return []Finding{f}
}
