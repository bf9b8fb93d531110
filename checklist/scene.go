package checklist

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"propwright/parsers"
)

// ErrNoAnswer says that nobody is there to answer a question.
var ErrNoAnswer = errors.New("no answer to be had")

// ErrPersonGone says that the person who was there has gone, as when a terminal is
// closed: nobody would follow an instruction, and a wait for that would tell nothing
// of the board.
var ErrPersonGone = fmt.Errorf("the terminal was closed: %w", ErrNoAnswer)

// ErrPortLost says that the port went away and did not come back.
var ErrPortLost = errors.New("port lost")

// errInterrupted ends an attempt at a step because the console had a gap in the
// middle of it: what happened meanwhile is not known.
var errInterrupted = errors.New("console interrupted")

const measureRole = "tag-role"

// A Scene is what a running check sees of the run: the step, what it is judged
// by, the log to read and the hands to use. It is made anew for each attempt.
type Scene struct {
	Step    Step
	Item    Item
	Log     *Log
	Clock   Clock
	Attempt int // from 1; above 1 this is a repetition after an interruption

	engine  *Engine
	first   int64 // entries up to this number came before the step's first attempt
	begin   int64 // and up to this one before the present attempt
	calm    bool  // a vanishing port is expected
	unasked []Entry
	bootsOK int           // boots that were asked for and are still to come
	slowest time.Duration // that hands and reader took to reply to a trial, in this attempt
	watched int64         // entries up to this number were looked at for what nobody asked for
	kept    int64         // and up to this one for a port that was lost
}

// Now is the run's time.
func (s *Scene) Now() time.Time { return s.Clock.Now() }

// Belief is what the log says the board is in, and of a reader the one that the
// step is about.
func (s *Scene) Belief() Belief { return s.Log.Belief().of(s.Reader().Index) }

// Reader is the planned reader that the step is about: its own where it is each
// reader's, else the board's first.
func (s *Scene) Reader() Reader {
	for _, r := range s.Item.Readers {
		if r.Index == s.Step.Reader || s.Step.EachReader == "" {
			return r
		}
	}
	return Reader{Index: s.Step.Reader}
}

// Concerns reports whether an event can be one of a reader's: it names that reader,
// or the firmware names none.
func Concerns(e Entry, reader int) bool {
	return e.Event == nil || e.Event.Reader == reader || e.Event.Reader == parsers.NoReader
}

// which names a reader for people where there are several.
func (s *Scene) which(reader int) string {
	if len(s.Item.Readers) < 2 {
		return "the reader"
	}
	return fmt.Sprintf("reader %d", reader)
}

// Cursor reads what comes from now on.
func (s *Scene) Cursor() *Cursor { return CursorAt(s.Log.Len()) }

// Beginning reads from where the present attempt began.
func (s *Scene) Beginning() *Cursor { return CursorAt(s.begin) }

// Earlier returns what the log holds of this step, earlier attempts included.
func (s *Scene) Earlier() []Entry {
	var own []Entry
	for _, e := range s.Log.Entries(s.first) {
		if e.place() == s.Step.Place() {
			own = append(own, e)
		}
	}
	return own
}

// Measures returns the measurements of that name that this step has made,
// earlier attempts included and without those that the person took back.
func (s *Scene) Measures(name string) []Entry {
	var found []Entry
	own := s.Earlier()
	for _, e := range own {
		if e.Measure != nil && e.Measure.Name == name {
			found = append(found, e)
		}
	}
	return standing(found, own)
}

// shared are the measurements of that name that this step has made, the other
// readers' steps of the same id among them, since what they rest on last changed.
func (s *Scene) shared(name string) []Entry {
	if s.Step.EachReader == "" {
		return s.Measures(name)
	}
	var found []Entry
	for _, e := range s.Log.Entries(0) {
		switch {
		case e.Type == EntryExpire && len(s.Step.spoils(e.Changed)) > 0:
			found = nil
		case e.Measure != nil && e.Measure.Name == name && e.Step == s.Step.ID && e.Sitting == s.Step.Sitting:
			found = append(found, e)
		}
	}
	return found
}

// Akin are the measurements of that name that other steps of the run have made, of any
// sitting, without those that were taken back and those that a change since has taken
// the ground from, be it this step's ground or theirs.
func (s *Scene) Akin(name string) []Entry {
	made := map[Place]Step{}
	for _, step := range s.engine.Procedure.Steps {
		made[step.Place()] = step
	}
	all := s.Log.Entries(0)
	var found []Entry
	for _, e := range all {
		switch {
		case e.Type == EntryExpire:
			found = slices.DeleteFunc(found, func(of Entry) bool {
				return len(s.Step.spoils(e.Changed)) > 0 || len(made[of.place()].spoils(e.Changed)) > 0
			})
		case e.Measure != nil && e.Measure.Name == name && e.place() != s.Step.Place():
			if _, known := made[e.place()]; known {
				found = append(found, e)
			}
		}
	}
	return standing(found, all)
}

// Measure puts a measurement on record.
func (s *Scene) Measure(m Measure) (Entry, error) {
	return s.Log.Append(Entry{Type: EntryMeasure, Measure: &m})
}

// Note puts a remark on record.
func (s *Scene) Note(format string, args ...any) error {
	_, err := s.Log.Append(Entry{Type: EntryNote, Note: fmt.Sprintf(format, args...)})
	return err
}

// ExpectDetach says that the port going away is now part of the step.
func (s *Scene) ExpectDetach() { s.calm = true }

// Await reads from the cursor until an entry matches; ok is false when that has
// not happened within the given time. A console that goes away unexpectedly ends
// the attempt with an error that the engine knows how to take.
func (s *Scene) Await(ctx context.Context, c *Cursor, within time.Duration, match func(Entry) bool) (e Entry, ok bool, err error) {
	return s.await(ctx, "", c, within, match)
}

// await is Await; what names the observation that the time is for, if it is one.
func (s *Scene) await(ctx context.Context, what string, c *Cursor, within time.Duration, match func(Entry) bool) (Entry, bool, error) {
	if err := s.lostBefore(ctx, c); err != nil {
		return Entry{}, false, err
	}
	start := s.Now()
	until := start.Add(within)
	for {
		e, ok, err := c.Next(ctx, s.Log, until)
		if err != nil {
			return Entry{}, false, err
		}
		if !ok {
			s.engine.waited(what, s.Now().Sub(start))
			return Entry{}, false, nil
		}
		if err := s.watch(ctx, c, e); err != nil {
			return Entry{}, false, err
		}
		if match(e) {
			return e, true, nil
		}
	}
}

// watch looks at what no step asked for: a lost port, a restart.
func (s *Scene) watch(ctx context.Context, c *Cursor, e Entry) error {
	if e.Event == nil || e.N <= s.watched {
		return nil // another cursor was here before
	}
	s.watched = e.N
	switch e.Event.Kind {
	case parsers.KindDetached:
		if s.calm {
			return nil
		}
		return s.comeBack(ctx, c)
	case parsers.KindBoot:
		if s.bootsOK > 0 {
			s.bootsOK--
		} else {
			s.unasked = append(s.unasked, e)
		}
	}
	return nil
}

// lostBefore looks for a port that was lost before the place of a cursor, as while a
// person was asked: nothing that is waited for from there on would come.
func (s *Scene) lostBefore(ctx context.Context, c *Cursor) error {
	for _, e := range s.Log.Entries(s.kept) {
		if e.N > c.n {
			break
		}
		s.kept = e.N
		if !s.calm && IsKind(e, parsers.KindDetached) {
			return s.comeBack(ctx, CursorAt(e.N))
		}
	}
	return nil
}

// comeBack waits for a lost port to return and then gives up the attempt.
func (s *Scene) comeBack(ctx context.Context, c *Cursor) error {
	until := s.Now().Add(s.engine.patience())
	for {
		e, ok, err := c.Next(ctx, s.Log, until)
		switch {
		case err != nil:
			return err
		case !ok:
			return ErrPortLost
		case e.Event != nil && e.Event.Kind == parsers.KindAttached:
			return errInterrupted
		}
	}
}

// AwaitKind is Await for an event of one of the kinds.
func (s *Scene) AwaitKind(ctx context.Context, c *Cursor, within time.Duration, kinds ...parsers.Kind) (Entry, bool, error) {
	return s.Await(ctx, c, within, func(e Entry) bool { return s.isKind(e, kinds...) })
}

// isKind is IsKind for what concerns the step's reader.
func (s *Scene) isKind(e Entry, kinds ...parsers.Kind) bool {
	return IsKind(e, kinds...) && (s.Step.EachReader == "" || Concerns(e, s.Step.Reader))
}

// IsKind reports whether the entry is an event of one of the kinds.
func IsKind(e Entry, kinds ...parsers.Kind) bool {
	if e.Event == nil {
		return false
	}
	for _, k := range kinds {
		if e.Event.Kind == k {
			return true
		}
	}
	return false
}

// Pause lets the run's time pass while entries go on arriving.
func (s *Scene) Pause(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	_, _, err := s.Await(ctx, s.Cursor(), d, func(Entry) bool { return false })
	return err
}

// Instruct asks hands for an act and puts that on record first.
func (s *Scene) Instruct(ctx context.Context, in Instruction) error {
	if in.Act.drives() {
		if err := s.clear(ctx); err != nil {
			return err
		}
	}
	in.Cautions = s.untold(in.Cautions)
	if _, err := s.Log.Append(Entry{Type: EntryInstruct, Instruct: &in}); err != nil {
		return err
	}
	if in.Act == ActReset || in.Act == ActSupplyOn || in.Act == ActUSBIn {
		s.bootsOK++
	}
	return s.engine.Person.Instruct(ctx, in)
}

// Ask returns the answer to a question of this step. What was answered before
// the step was interrupted is not asked again.
func (s *Scene) Ask(ctx context.Context, q Question) (Entry, error) {
	for _, e := range s.Earlier() {
		if e.Answer != nil && e.Answer.Question.Key == q.Key {
			return e, nil
		}
	}
	return s.put(ctx, q)
}

// put asks, whatever was answered before, and puts the answer on record.
func (s *Scene) put(ctx context.Context, q Question) (Entry, error) {
	q.Step, q.Cautions = s.Step.ID, s.untold(q.Cautions)
	a, err := s.engine.Person.Ask(ctx, q)
	if err != nil {
		return Entry{}, fmt.Errorf("step %q, question %q: %w", q.Step, q.Key, err)
	}
	if check, known := s.engine.Checks[s.Step.Check]; known && check.Console() {
		// What was seen of a board that had gone meanwhile tells nothing.
		if err := s.lostBefore(ctx, s.Cursor()); err != nil {
			return Entry{}, err
		}
	}
	a.Question = q
	return s.Log.Append(Entry{Type: EntryAnswer, Answer: &a})
}

// LikelySpeed asks the board's port at which speed it hears text.
func (s *Scene) LikelySpeed(ctx context.Context) (int, error) {
	return s.engine.Board.LikelySpeed(ctx)
}

// Reset restarts the board and returns the boot event that proves it; ok is
// false when none came.
func (s *Scene) Reset(ctx context.Context) (boot Entry, ok bool, err error) {
	if err := s.clear(ctx); err != nil {
		return Entry{}, false, err
	}
	c := s.Cursor()
	s.bootsOK++
	if err := s.engine.Board.Reset(ctx); err != nil {
		return Entry{}, false, err
	}
	boot, ok, err = s.AwaitKind(ctx, c, bootWithin, parsers.KindBoot)
	if !ok {
		s.bootsOK = 0
	}
	return boot, ok, err
}
