package checklisttest

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// A Rig is an engine with everything scripted around it. Make it inside a
// synctest bubble. It is also the engine's board: its port opens at once and the
// board does not restart by that.
type Rig struct {
	Engine *checklist.Engine
	Log    *checklist.Log
	Keeper *Keeper
	Person *Person

	t      testing.TB
	mu     sync.Mutex
	offset int64 // of the next console byte
	done   []checklist.Decision
}

// NewRig returns a rig for a procedure, given as TOML, that continues earlier
// entries.
func NewRig(t testing.TB, procedure string, item checklist.Item, checks checklist.Checks, earlier []checklist.Entry) *Rig {
	t.Helper()
	p, err := checklist.ParseProcedure("test.toml", []byte(procedure))
	if err != nil {
		t.Fatal(err)
	}
	r := &Rig{t: t, Keeper: &Keeper{kept: append([]checklist.Entry(nil), earlier...)}, Person: &Person{}}
	for _, e := range earlier {
		if e.Event != nil {
			r.offset += e.Event.Size()
		}
	}
	r.Log = checklist.NewLog(Clock{}, r.Keeper, earlier)
	r.Engine = &checklist.Engine{
		Log: r.Log, Clock: Clock{}, Person: r.Person, Board: r, Checks: checks, Procedure: p, Item: item,
		Decided: func(d checklist.Decision) { r.done = append(r.done, d) },
	}
	t.Cleanup(func() {
		if left := r.Person.Left(); len(left) > 0 {
			t.Errorf("answers that nobody asked for: %v", left)
		}
	})
	return r
}

// Run walks a sitting and returns what was decided, by step id.
func (r *Rig) Run(ctx context.Context, sitting checklist.Sitting) (map[string]checklist.Outcome, error) {
	_, err := r.Engine.Run(ctx, sitting)
	outcomes := map[string]checklist.Outcome{}
	for _, d := range r.done {
		outcomes[d.Step.ID] = d.Outcome
	}
	return outcomes, err
}

// Event makes the console say something now. The fields are name and value in
// turn; a field "uid" becomes the event's UID.
func (r *Rig) Event(kind parsers.Kind, fields ...string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	now := Clock{}.Now()
	raw := string(kind) + " " + strings.Join(fields, " ")
	held := map[string]string{}
	for i := 0; i+1 < len(fields); i += 2 {
		held[fields[i]] = fields[i+1]
	}
	e := parsers.Event{Kind: kind, First: now, Last: now, Reader: parsers.NoReader, Raw: []byte(raw), End: "\n", Offset: r.offset, Profile: "scripted"}.Holding(held)
	if held["uid"] != "" && e.UID() == nil {
		r.t.Errorf("scripted event: uid %q is none", held["uid"])
	}
	if r.append(checklist.Entry{Type: checklist.EntryEvent, Event: &e}) {
		r.offset += e.Size()
	}
}

// Host makes the computer see something of the line now: attached or detached.
func (r *Rig) Host(kind parsers.Kind) {
	now := Clock{}.Now()
	r.append(checklist.Entry{Type: checklist.EntryEvent, Event: &parsers.Event{Kind: kind, First: now, Last: now, Reader: parsers.NoReader}})
}

// Frame makes something pass at the controller's side now.
func (r *Rig) Frame(f checklist.Frame) {
	f.At = Clock{}.Now()
	r.append(checklist.Entry{Type: checklist.EntryFrame, Frame: &f})
}

// After calls f when d has passed.
func (*Rig) After(d time.Duration, f func()) { Clock{}.AfterFunc(d, f) }

// append is false once the log takes nothing more, as after its keeper broke.
func (r *Rig) append(e checklist.Entry) bool {
	_, err := r.Log.Append(e)
	return err == nil
}

// Attach reports the port as opened.
func (r *Rig) Attach(context.Context) error { r.Host(parsers.KindAttached); return nil }

// Detach reports the port as let go.
func (r *Rig) Detach() error { r.Host(parsers.KindDetached); return nil }

// Reset does nothing: the rig's board does not restart.
func (*Rig) Reset(context.Context) error { return nil }

// LikelySpeed hears text at no other speed.
func (*Rig) LikelySpeed(context.Context) (int, error) { return 0, nil }
