package checklist

import (
	"context"
	"fmt"
	"strconv"
	"time"
)

// A Sitting is one of the two occasions of a commissioning.
type Sitting string

// The sittings.
const (
	Bench Sitting = "bench"
	Site  Sitting = "site"
)

// A Step is one line of a procedure: data, never code.
type Step struct {
	ID      string   `toml:"id" json:"id"`
	Title   string   `toml:"title" json:"title"`
	Sitting Sitting  `toml:"sitting" json:"sitting"`
	Check   string   `toml:"check" json:"check"`                 // the kind of check that runs it
	Needs   []string `toml:"needs" json:"needs,omitempty"`       // steps of this sitting that must not have failed or been skipped
	RestsOn []string `toml:"rests_on" json:"rests_on,omitempty"` // what a later change spoils it
	Changes bool     `toml:"changes" json:"changes,omitempty"`   // changes what the board stores
	MaySkip bool     `toml:"may_skip" json:"may_skip,omitempty"` // leaving it out, for a reason, spoils nothing
	// Stage is the part of its sitting that the step belongs to where several boards are
	// taken through a sitting together, all through one part before the next.
	Stage string `toml:"stage" json:"stage,omitempty"`
	// EachReader says for which boards the step is one of each reader's own.
	EachReader EachReader `toml:"each_reader" json:"each_reader,omitempty"`
	// Several leaves the step out for a board that has one reader only.
	Several bool `toml:"several_readers" json:"several_readers,omitempty"`
	// Planned leaves the step out where no reader's plan says that of its coil: one of
	// the Planned… names.
	Planned string `toml:"planned" json:"planned,omitempty"`
	// Reader is the index of the reader that the step is about, 0 for the whole board;
	// Procedure.Of sets it.
	Reader int `toml:"-" json:"reader,omitempty"`
	// Cautions are shown before the step's first instruction, each once in a sitting,
	// and in the report.
	Cautions []Caution      `toml:"cautions" json:"-"`
	Params   map[string]any `toml:"params" json:"params,omitempty"`
}

// EachReader says when a step is walked once for each reader of a board.
type EachReader string

// The values; "" is a step of the whole board.
const (
	EachAlways EachReader = "always"
	EachLists  EachReader = "lists" // where each reader keeps a master and a list of its own
)

// Place is where the step stands in a run.
func (s Step) Place() Place { return Place{s.Sitting, s.ID, s.Reader} }

// Seconds returns a parameter that is a time in seconds; missing is an error of
// the procedure.
func (s Step) Seconds(name string) (time.Duration, error) {
	v, err := s.Float(name)
	return time.Duration(v * float64(time.Second)), err
}

// Float returns a parameter that is a number.
func (s Step) Float(name string) (float64, error) {
	switch v := s.Params[name].(type) {
	case float64:
		return v, nil
	case int64:
		return float64(v), nil
	case nil:
		return 0, fmt.Errorf("step %q: parameter %q: missing", s.ID, name)
	default:
		return 0, fmt.Errorf("step %q: parameter %q: %v is not a number", s.ID, name, v)
	}
}

// Int returns a parameter that is a whole number.
func (s Step) Int(name string) (int, error) {
	v, err := s.Float(name)
	if err == nil && v != float64(int(v)) {
		err = fmt.Errorf("step %q: parameter %q: %s is not a whole number", s.ID, name, strconv.FormatFloat(v, 'g', -1, 64))
	}
	return int(v), err
}

// Str returns a parameter that is a text.
func (s Step) Str(name string) (string, error) {
	v, ok := s.Params[name].(string)
	if !ok {
		return "", fmt.Errorf("step %q: parameter %q: missing or no text", s.ID, name)
	}
	return v, nil
}

// A Check is a kind of check: it runs a step and comes to findings. It is called
// again from its beginning when the run was interrupted in the middle of it, so
// it first looks at what the log already holds of this step (Scene.Earlier,
// Scene.Measures) and never repeats what is done.
//
// An error means no verdict: the port, the disk or the person is gone. What is
// wrong with the board is a finding.
type Check interface {
	Run(ctx context.Context, s *Scene) ([]Finding, error)
	// Console reports whether the check needs the board's console.
	Console() bool
}

// Checks are the kinds of check that an engine may run, by the name that
// procedures use.
type Checks map[string]Check

// A CheckFunc is a check that needs the console.
type CheckFunc func(ctx context.Context, s *Scene) ([]Finding, error)

// Run calls f.
func (f CheckFunc) Run(ctx context.Context, s *Scene) ([]Finding, error) { return f(ctx, s) }

// Console is true.
func (CheckFunc) Console() bool { return true }

// A BlindCheckFunc is a check that needs no console.
type BlindCheckFunc func(ctx context.Context, s *Scene) ([]Finding, error)

// Run calls f.
func (f BlindCheckFunc) Run(ctx context.Context, s *Scene) ([]Finding, error) { return f(ctx, s) }

// Console is false.
func (BlindCheckFunc) Console() bool { return false }

// A Board is the way to the board under test, as the engine needs it. Only
// opening, closing and resetting: nothing is ever sent.
type Board interface {
	// Attach opens the port; from then on its text arrives in the log. Attaching
	// twice is no error.
	Attach(ctx context.Context) error
	// Detach lets the port go.
	Detach() error
	// Reset restarts the board, by its modem lines, by closing and reopening, or
	// by asking the person. The boot event in the log is the only proof.
	Reset(ctx context.Context) error
	// LikelySpeed listens at other speeds and says which one makes text; 0 when
	// none does. The port is back at its own speed afterwards.
	LikelySpeed(ctx context.Context) (baud int, err error)
}

// A Clock is the run's time.
type Clock interface {
	Now() time.Time
	AfterFunc(d time.Duration, f func()) (stop func() bool)
	Sleep(ctx context.Context, d time.Duration) error
	// Depart and Land count what is under way for a simulated clock.
	Depart(n int)
	Land(n int)
}
