package checklist

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"propwright/parsers"
)

// An Engine walks one sitting of a procedure. Its fields are set by who makes it
// and not changed while Run is under way.
type Engine struct {
	Log       *Log
	Clock     Clock
	Person    Person
	Board     Board // nil when the run has no port
	Checks    Checks
	Procedure Procedure
	Item      Item
	// Decided, where set, is told of each step as it is decided; again is true for
	// a step that an earlier process of the run had decided.
	Decided func(d Decision)
	// Reopened, where set, is told when a re-flash has opened steps again.
	Reopened func()
	// Failed, where set, looks for the cause of a step that has just failed and returns
	// what came of it, nil where nobody looked; with an error, what there was until then.
	// Where the cause was repaired the step runs again, with all that rested on what the
	// repair changed.
	Failed func(context.Context, Decision) (*Diagnosis, error)
	// Unfinished reports whether the search for the cause of a step that failed in an
	// earlier process was begun and cut off, so that Failed is called once more; may be nil.
	Unfinished func(Step) bool
	// Commands, where set, brings what the person says unasked; closed, it says that
	// the person has gone.
	Commands <-chan Command
	// Only, where set, limits a walk to the steps that it says yes to; the others stay
	// as they are.
	Only func(Step) bool
	// Skip leaves steps out, by id, each for a reason.
	Skip map[string]string
	// Patience is how long a lost port may stay away; 0 means a minute.
	Patience time.Duration

	waits   []Waiting       // of the step under way, in this process
	cleared map[Place]Entry // what was said about the room being clear, in this process
}

// A Decision is a step and how it came out.
type Decision struct {
	Step    Step
	Outcome Outcome
	Again   bool // decided before this process took up the run
	Number  int  // of the step in its sitting, from 1
	Of      int
}

// mostAttempts is how often a step that the console breaks off is begun again in
// one process before that itself is the finding.
const mostAttempts = 5

func (e *Engine) patience() time.Duration {
	if e.Patience > 0 {
		return e.Patience
	}
	return time.Minute
}

// Check says whether every step of the procedure has a kind of check that is
// known; the error names the first that has not.
func (e *Engine) Check() error {
	for _, s := range e.Procedure.Steps {
		if _, known := e.Checks[s.Check]; !known {
			return fmt.Errorf("procedure %q: step %q: field check: %q is no known kind of check", e.Procedure.Name, s.ID, s.Check)
		}
	}
	return nil
}

// Run walks the steps of a sitting that are not decided yet and returns the
// worst verdict of the sitting; a step that may be skipped and was does not
// count. After a re-flash or a repair it begins with the first step that is open by
// then. An error means that the run stopped on the way and can be resumed.
func (e *Engine) Run(ctx context.Context, sitting Sitting) (Verdict, error) {
	if err := e.Check(); err != nil {
		return NotConfirmed, err
	}
	flash, _ := letGo(e.Log.Entries(0))
	pending := flash != nil && e.Board != nil
	told := map[Place]bool{}
	for {
		if pending {
			if err := e.reflash(ctx, sitting); err != nil {
				return NotConfirmed, err
			}
		}
		worst, err := e.walk(ctx, sitting, told)
		pending = errors.Is(err, errReflash)
		repaired := errors.Is(err, errRepaired)
		if !pending && !repaired {
			return worst, err
		}
		if repaired && e.Reopened != nil {
			e.Reopened()
		}
	}
}

// walk goes once through the steps of a sitting; told are those that Decided has
// heard of.
func (e *Engine) walk(ctx context.Context, sitting Sitting, told map[Place]bool) (Verdict, error) {
	steps := e.Procedure.Sitting(sitting)
	decided := Outcomes(e.Log.Entries(0), e.Procedure)
	worst := Passed
	for i, step := range steps {
		d := Decision{Step: step, Number: i + 1, Of: len(steps)}
		o, done := decided[step.Place()]
		now := e.Only == nil || e.Only(step)
		switch {
		case done:
			d.Outcome, d.Again = o, true
		case !now:
			continue
		default:
			o, err := e.decide(ctx, step, decided)
			if err != nil {
				return NotConfirmed, fmt.Errorf("step %q: %w", step.ID, err)
			}
			decided[step.Place()] = o
			d.Outcome = o
			e.tell(signalOf(o.Verdict))
		}
		if d.Outcome.Verdict != Skipped || !step.MaySkip {
			worst = worst.Worse(d.Outcome.Verdict)
		}
		if e.Decided != nil && now && !(d.Again && told[step.Place()]) {
			e.Decided(d)
		}
		told[step.Place()] = true
		if err := e.afterFailure(ctx, d); err != nil {
			return NotConfirmed, fmt.Errorf("step %q: %w", step.ID, err)
		}
	}
	return worst, nil
}

// A Place names a step of a procedure, for one reader where it is each reader's own.
type Place struct {
	Sitting Sitting
	Step    string
	Reader  int
}

// decide runs one step to its outcome and puts that on record.
func (e *Engine) decide(ctx context.Context, step Step, decided map[Place]Outcome) (Outcome, error) {
	e.Log.under(step.Place())
	defer e.Log.under(Place{})
	e.waits = nil
	first := e.beginnings(step)
	start := e.Clock.Now()
	if len(first) > 0 {
		start = first[0].At
	}
	o := Outcome{Attempts: len(first)}
	check := e.Checks[step.Check]
	if reason := e.obstacle(step, check, decided); reason != "" {
		o.Verdict, o.Reason = Skipped, reason
		return o, e.record(o)
	}
	for try := 1; ; try++ {
		o.Attempts++
		findings, err := e.attempt(ctx, step, check, try > 1)
		switch {
		case errors.Is(err, errInterrupted) && try < mostAttempts:
			continue
		case errors.Is(err, errInterrupted):
			findings = []Finding{e.comesAndGoes(step)}
		case isRoom(err):
			room, _ := errors.AsType[errRoom](err)
			findings = room.refused
		case errors.Is(err, errAgain):
			try = 0
			continue
		case isSkip(err):
			skip, _ := errors.AsType[errSkip](err)
			o.Verdict, o.Reason = Skipped, skip.reason
			return o, e.record(o)
		case err != nil:
			return Outcome{}, err
		}
		o.Findings = findings
		o.Verdict, o.Waited = verdictOf(findings), e.waits
		o.Seconds = e.Clock.Now().Sub(start).Seconds()
		return o, e.record(o)
	}
}

// beginnings are the entries with which earlier attempts at the step began,
// since its evidence last expired or what failed it was repaired.
func (e *Engine) beginnings(step Step) []Entry {
	var begun []Entry
	for _, entry := range e.Log.Entries(0) {
		switch {
		case entry.Type == EntryBegin && entry.place() == step.Place():
			begun = append(begun, entry)
		case entry.Type == EntryExpire && len(step.spoils(entry.Changed)) > 0:
			begun = nil
		case entry.cures() && entry.place() == step.Place():
			begun = nil
		}
	}
	return begun
}

// obstacle says why a step cannot be run, "" when it can.
func (e *Engine) obstacle(step Step, check Check, decided map[Place]Outcome) string {
	var missing []string
	for _, need := range step.Needs {
		if !e.met(step, need, decided) {
			missing = append(missing, need)
		}
	}
	switch {
	case e.Skip[step.ID] != "":
		return e.Skip[step.ID]
	case len(missing) > 0:
		return "needs " + strings.Join(missing, ", ")
	case check.Console() && e.Board == nil:
		return "no port given"
	}
	return ""
}

// met reports whether a step that another needs has come out well enough: that of
// the same reader where both are a reader's own, else that of every reader.
func (e *Engine) met(step Step, need string, decided map[Place]Outcome) bool {
	for _, s := range e.Procedure.Sitting(step.Sitting) {
		if s.ID != need || s.EachReader != "" && step.EachReader != "" && s.Reader != step.Reader {
			continue
		}
		if v := decided[s.Place()].Verdict; v != Passed && v != NotConfirmed {
			return false
		}
	}
	return true
}

func isRoom(err error) bool {
	_, room := errors.AsType[errRoom](err)
	return room
}

func isSkip(err error) bool {
	_, skip := errors.AsType[errSkip](err)
	return skip
}

// attempt runs the check once; again says that this process has begun it before.
func (e *Engine) attempt(ctx context.Context, step Step, check Check, again bool) (findings []Finding, err error) {
	err = e.heed(ctx, e.obey, func(ctx context.Context) error {
		findings, err = e.begin(ctx, step, check, again)
		return err
	})
	return findings, err
}

// begin runs the check from its beginning.
func (e *Engine) begin(ctx context.Context, step Step, check Check, again bool) ([]Finding, error) {
	earlier := e.beginnings(step)
	s := &Scene{Step: step, Item: e.Item, Log: e.Log, Clock: e.Clock, Attempt: len(earlier) + 1, engine: e}
	begun, err := e.Log.Append(Entry{Type: EntryBegin})
	if err != nil {
		return nil, err
	}
	s.begin, s.first, s.watched, s.kept = begun.N, begun.N, begun.N, begun.N
	if len(earlier) > 0 {
		s.first = earlier[0].N
	}
	if cautions := s.untold(CautionTexts(step.Cautions)); len(cautions) > 0 {
		text := "Before you begin: " + step.Title + "."
		if err := s.Instruct(ctx, Instruction{Act: ActNote, Text: text, Cautions: cautions}); err != nil {
			return nil, err
		}
	}
	if check.Console() {
		if err := e.attach(ctx, s, again); err != nil {
			return nil, err
		}
	}
	findings, err := check.Run(ctx, s)
	if err != nil {
		return nil, err
	}
	return append(append(findings, s.voids()...), s.restarts()...), nil
}

// attach sees to it that the console is open. Opening may or may not restart the
// board; either way its boot text is let through before the step begins, save for
// the step that watches that very boot.
func (e *Engine) attach(ctx context.Context, s *Scene, again bool) error {
	attached := s.Belief().Attached == Yes
	if attached && !again {
		return nil
	}
	if again || e.takenUp() {
		// Hands were let go in the middle of something.
		text := "Take every tag off the reader, let go of the reader board, and see that the network cable is in."
		if err := s.Instruct(ctx, Instruction{Act: ActClear, Text: text}); err != nil {
			return err
		}
	}
	s.bootsOK++
	if !attached {
		if err := s.clear(ctx); err != nil { // opening the port may restart the board
			return err
		}
		if err := s.open(ctx); err != nil {
			return err
		}
	}
	if s.Step.Check == "attach" {
		return nil
	}
	if _, booted, err := s.AwaitKind(ctx, s.Beginning(), bootWithin, parsers.KindBoot); err != nil {
		return err
	} else if booted {
		if err := s.Settle(ctx); err != nil {
			return err
		}
	}
	s.bootsOK = 0
	return SameBoard(e.Log.Entries(0))
}

// open opens the port, or waits for one that was lost to come back.
func (s *Scene) open(ctx context.Context) error {
	c := s.Cursor()
	if err := s.engine.Board.Attach(ctx); err != nil {
		return err
	}
	_, open, err := s.AwaitKind(ctx, c, s.engine.patience(), parsers.KindAttached)
	if err == nil && !open {
		err = ErrPortLost
	}
	return err
}

// takenUp reports whether this process goes on with what another has begun.
func (e *Engine) takenUp() bool {
	return slices.ContainsFunc(e.Log.Entries(0), func(entry Entry) bool { return entry.Run != nil && entry.Run.Resumed })
}

// restarts is the finding that the board restarted without being asked to.
func (s *Scene) restarts() []Finding {
	if len(s.unasked) == 0 || s.calm {
		return nil
	}
	n := float64(len(s.unasked))
	return []Finding{{
		What: "restarts by itself", Verdict: Failed, How: Measured,
		Value: Number(n, "1", fmt.Sprintf("%.0f during the step", n)), Limit: ptr(Number(0, "1", "none")),
		Note:  "The board restarted while nobody had asked it to; look at its supply and its joints.",
		Rests: RefsOf(s.unasked...),
	}}
}

// comesAndGoes is the finding that the console could not be kept.
func (e *Engine) comesAndGoes(step Step) Finding {
	var gone []Entry
	for _, entry := range e.Log.Entries(0) {
		if entry.place() == step.Place() && IsKind(entry, parsers.KindDetached) {
			gone = append(gone, entry)
		}
	}
	n := float64(len(gone))
	return Finding{
		What: "console kept", Verdict: Failed, How: Measured,
		Value: Number(n, "1", fmt.Sprintf("lost %.0f times", n)), Limit: ptr(Number(0, "1", "not lost")),
		Note:  "The port came and went during the step; look at the USB cable, its plugs and the supply.",
		Rests: RefsOf(gone...),
	}
}

// record puts an outcome on record, after everything that it rests on is safe.
func (e *Engine) record(o Outcome) error {
	if err := e.Log.Sync(); err != nil {
		return err
	}
	if _, err := e.Log.Append(Entry{Type: EntryVerdict, Outcome: &o}); err != nil {
		return err
	}
	return e.Log.Sync()
}

// verdictOf is the worst verdict of the findings. A pass without evidence is
// none, and nothing found is nothing confirmed.
func verdictOf(findings []Finding) Verdict {
	if len(findings) == 0 {
		return NotConfirmed
	}
	worst := Passed
	for _, f := range findings {
		v := f.Verdict
		if v == Passed && len(f.Rests) == 0 {
			v = NotConfirmed
		}
		worst = worst.Worse(v)
	}
	return worst
}

func ptr[T any](v T) *T { return &v }
