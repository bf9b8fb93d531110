package reach_test

import (
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
	"propwright/checklist/checklisttest"
	"propwright/checklist/reach"
	"propwright/parsers"
)

const steps = `
name = "reach"
[[step]]
id = "range"
title = "Read range"
sitting = "bench"
check = "range"
[step.params]
contact = 3
at_cover = 14
least_rate = 0.80
placement = "adaptive"
budget = 24
half_width_mm = 1.0
margin_mm = 2.0
most_mm = 40.0
far_mm = 25.4
within = 4.0
lift = 1.0
[[step]]
id = "repeat"
sitting = "bench"
check = "repeat"
[step.params]
presentations = 20
most_misses = 0
within = 4.0
lift = 1.0
[[step]]
id = "range"
sitting = "site"
check = "range"
[step.params]
contact = 3
at_cover = 14
least_rate = 0.80
placement = "adaptive"
budget = 24
half_width_mm = 1.0
margin_mm = 2.0
most_mm = 40.0
far_mm = 25.4
within = 4.0
lift = 1.0
`

var (
	_ checklist.Check = reach.Range{}
	_ checklist.Check = reach.Repeat{}
)

func item(leaving string) checklist.Item {
	return checklist.Item{
		Site: "The Tidewater Rooms", Prop: "harbour-bell", Room: "Lighthouse", Drives: "light", CoverMM: 6,
		Board:   checklist.BoardPlan{Asset: "rdr-07", Leaving: leaving},
		Readers: []checklist.Reader{{Coil: 117, Behaviour: "follows"}},
	}
}

// only cuts the procedure to one step.
func only(t *testing.T, r *checklisttest.Rig, id string) {
	t.Helper()
	r.Engine.Procedure.Steps = slices.DeleteFunc(r.Engine.Procedure.Steps, func(s checklist.Step) bool { return s.ID != id })
}

// bench is a reader that reads a tag where reads says so, by the number of the
// presentation from 1 and its spacing.
type bench struct {
	rig   *checklisttest.Rig
	reads func(n int, mm float64) bool
	uid   string

	mu    sync.Mutex
	shown []float64
}

func (b *bench) hands(in checklist.Instruction) {
	if in.Act != checklist.ActPresent {
		return
	}
	b.mu.Lock()
	b.shown = append(b.shown, in.SpacingMM)
	n := len(b.shown)
	b.mu.Unlock()
	if !b.reads(n, in.SpacingMM) {
		return
	}
	b.rig.After(120*time.Millisecond, func() {
		b.rig.Event(parsers.KindTagPresent, "uid", b.uid)
		b.rig.Event(parsers.KindCardAccepted, "uid", b.uid)
	})
	b.rig.After(in.Hold, func() { b.rig.Event(parsers.KindTagAbsent, "uid", b.uid) })
}

func newBench(t *testing.T, reads func(int, float64) bool, earlier []checklist.Entry) *bench {
	t.Helper()
	b := &bench{reads: reads, uid: "04A1B2C3D4E5F6"}
	b.rig = checklisttest.NewRig(t, steps, item("reported"), checklist.Checks{"range": reach.Range{}, "repeat": reach.Repeat{}}, earlier)
	b.rig.Person.Hands = b.hands
	return b
}

// run walks one step and returns its outcome.
func (b *bench) run(t *testing.T, id string, sitting checklist.Sitting) checklist.Outcome {
	t.Helper()
	only(t, b.rig, id)
	outcomes, err := b.rig.Run(t.Context(), sitting)
	if err != nil {
		t.Fatal(err)
	}
	return outcomes[id]
}

func finding(t *testing.T, o checklist.Outcome, what string) checklist.Finding {
	t.Helper()
	for _, f := range o.Findings {
		if f.What == what {
			return f
		}
	}
	t.Fatalf("no finding %q in %+v", what, o.Findings)
	return checklist.Finding{}
}

func TestAStepInterruptedAnywhereGoesOnAfterTheTrialsOnRecord(t *testing.T) {
	reads := func(_ int, mm float64) bool { return mm < 11 }
	synctest.Test(t, func(t *testing.T) {
		whole := newBench(t, reads, nil)
		want := whole.run(t, "range", checklist.Bench)
		trials := len(whole.shown)
		length := len(whole.rig.Keeper.Kept())
		for at := 1; at < length; at += 5 {
			b := newBench(t, reads, nil)
			b.rig.Keeper.BreakAt = at
			only(t, b.rig, "range")
			if _, err := b.rig.Run(t.Context(), checklist.Bench); err == nil {
				t.Fatalf("a keeper that breaks after %d entries did not stop the run", b.rig.Keeper.BreakAt)
			}
			time.Sleep(10 * time.Second) // in the bubble: what hands had begun ends
			again := newBench(t, reads, b.rig.Keeper.Kept())
			got := again.run(t, "range", checklist.Bench)
			if got.Verdict != want.Verdict || finding(t, got, "range").Value.Text != finding(t, want, "range").Value.Text {
				t.Errorf("broken after %d entries: %+v; want as undisturbed %+v", b.rig.Keeper.BreakAt, got, want)
			}
			// The presentation under way when it broke is done once more, no other.
			if n := len(b.shown) + len(again.shown); n < trials || n > trials+1 {
				t.Errorf("broken after %d entries: %d presentations in all, undisturbed %d", b.rig.Keeper.BreakAt, n, trials)
			}
		}
	})
}
