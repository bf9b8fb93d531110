package reach_test

import (
	"maps"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
)

// trialsKept are the trials that a bench has put on record.
func (b *bench) trialsKept() (all []*checklist.Measure) {
	for _, e := range b.rig.Keeper.Kept() {
		if e.Measure != nil && e.Measure.Name == "trial" {
			all = append(all, e.Measure)
		}
	}
	return all
}

func (b *bench) set(name string, v any) { b.rig.Engine.Procedure.Steps[0].Params[name] = v }

// What each presentation is, is asked for, on record with each trial and in a finding.
func TestThePresentationIsToldAndRecorded(t *testing.T) {
	for name, tt := range map[string]struct {
		params            map[string]any
		asked, said, kind string
		hold              time.Duration
		seconds           string
	}{
		"left out":      {asked: "lift it after a second.", said: "held still for 1 s; orientation: as players turn it, the same way round each time", kind: "held", hold: time.Second, seconds: "1"},
		"held for long": {params: map[string]any{"hold": 2.5, "orientation": "spine first"}, asked: "lift it after 2.5 s. Orientation: spine first.", said: "held still for 2.5 s; orientation: spine first", kind: "held", hold: 2500 * time.Millisecond, seconds: "2.5"},
		"swiped":        {params: map[string]any{"approach": "swiped"}, asked: "Swipe the prop's own tag in its object past the reader, touching its face, evenly, about 0.3 s over it.", said: "swiped past, about 0.3 s over the reader", kind: "swiped", hold: 300 * time.Millisecond, seconds: "0.3"},
	} {
		for _, step := range []string{"range", "repeat"} {
			t.Run(name+" "+step, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					b := newBench(t, func(_ int, mm float64) bool { return mm < 9 }, nil)
					only(t, b.rig, step)
					for name, v := range tt.params {
						b.set(name, v)
					}
					o := b.run(t, step, checklist.Bench)
					if f := finding(t, o, "presentation"); !strings.Contains(f.Value.Text, tt.said) || len(f.Rests) == 0 {
						t.Errorf("finding %q; want %q with evidence", f.Value.Text, tt.said)
					}
					asked := false
					for _, in := range b.rig.Person.Told() {
						if in.Act == checklist.ActPresent && in.Hold != tt.hold {
							t.Errorf("held for %s; want %s", in.Hold, tt.hold)
						}
						asked = asked || strings.Contains(in.Text, tt.asked)
					}
					if step == "range" && !asked {
						t.Errorf("nobody was told %q", tt.asked)
					}
					orientation := "as players turn it, the same way round each time"
					if v, own := tt.params["orientation"]; own {
						orientation = v.(string)
					}
					for _, m := range b.trialsKept() {
						if m.Params["approach"] != tt.kind || m.Params["hold_s"] != tt.seconds || m.Params["orientation"] != orientation {
							t.Fatalf("trial on record %v", m.Params)
						}
					}
				})
			})
		}
	}
}

// Trials of a held tag do not stand in for swipes, nor those of another orientation; the
// ones from before that was on record were held.
func TestTrialsOfAnotherMannerAreNotCounted(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(map[string]string)
		params map[string]any
		counts bool
	}{
		"the same":            {counts: true},
		"before it was noted": {change: func(p map[string]string) { delete(p, "approach"); delete(p, "orientation") }, counts: true},
		"swiped now":          {params: map[string]any{"approach": "swiped"}},
		"longer now":          {params: map[string]any{"hold": 2.0}},
		"turned now":          {params: map[string]any{"orientation": "on edge"}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				reads := func(int, float64) bool { return true }
				first := newBench(t, reads, nil)
				only(t, first.rig, "repeat")
				first.rig.Keeper.BreakAt = 30
				if _, err := first.rig.Run(t.Context(), checklist.Bench); err == nil {
					t.Fatal("not broken off")
				}
				time.Sleep(10 * time.Second)
				kept := first.rig.Keeper.Kept()
				done := len(first.trialsKept())
				for i, e := range kept {
					if tt.change != nil && e.Measure != nil {
						m := *e.Measure
						m.Params = maps.Clone(m.Params)
						tt.change(m.Params)
						kept[i].Measure = &m
					}
				}
				again := newBench(t, reads, kept)
				only(t, again.rig, "repeat")
				for name, v := range tt.params {
					again.set(name, v)
				}
				again.run(t, "repeat", checklist.Bench)
				want := 20
				if tt.counts {
					want -= done
				}
				if done == 0 || len(again.shown) != want {
					t.Errorf("%d presentations after %d on record; want %d", len(again.shown), done, want)
				}
			})
		})
	}
}

// older is a range step as a site wrote it before the range was estimated by a curve.
const older = `
name = "new"
[[step]]
id = "range"
sitting = "bench"
check = "range"
[step.params]
contact = 3
at_cover = 14
least_rate = 0.80
ladder_step_mm = 2.0
ladder_each = 3
ladder_most_mm = 30.0
within = 4.0
lift = 1.0
`

func TestAnOlderProcedureRunsWithTheDefaults(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, func(int, float64) bool { return true }, nil)
		p, err := checklist.ParseProcedure("older.toml", []byte(older))
		if err != nil {
			t.Fatal(err)
		}
		b.rig.Engine.Procedure = p
		o := b.run(t, "range", checklist.Bench)
		f := finding(t, o, "range")
		if o.Verdict != checklist.Passed || !strings.Contains(f.Limit.Text, "a margin of 2 mm") {
			t.Errorf("%s, limit %q; want passed with a margin of 2 mm", o.Verdict, f.Limit.Text)
		}
		for _, mm := range b.shown {
			if mm > 30 {
				t.Errorf("%g mm was asked for, the file says 30 at most", mm)
			}
		}
		if half := finding(t, o, "range read half the time"); !strings.Contains(half.Note, "of 24 at most") {
			t.Errorf("note %q; want the default budget of 24", half.Note)
		}
	})
}

func TestParametersOutOfBoundsAreNamed(t *testing.T) {
	for name, v := range map[string]any{
		"hold": 9.0, "approach": "thrown", "orientation": "a\nb", "budget": 2.5, "most_mm": -1.0, "margin_mm": "two", "placement": "guess",
	} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, func(int, float64) bool { return true }, nil)
			only(t, b.rig, "range")
			b.set(name, v)
			if _, err := b.rig.Run(t.Context(), checklist.Bench); err == nil || !strings.Contains(err.Error(), `step "range": parameter "`+name+`"`) {
				t.Errorf("%s = %v: %v; want the step and the parameter named", name, v, err)
			}
		})
	}
}

// The built-in procedures say in full what holds where nothing is said.
func TestBuiltinProceduresSayTheDefaultPresentation(t *testing.T) {
	for _, name := range checklist.BuiltinProcedures() {
		p, err := checklist.BuiltinProcedure(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range p.Steps {
			if s.Check != "range" && s.Check != "repeat" {
				continue
			}
			if s.Params["approach"] != "held" || s.Params["hold"] != 1.0 || s.Params["orientation"] != "as players turn it, the same way round each time" {
				t.Errorf("%s, %s %s: %v", name, s.Sitting, s.ID, s.Params)
			}
		}
	}
}
