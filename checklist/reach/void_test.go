package reach_test

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

const spareUID = "04CAFE0000AB80"

// voidBench is a bench whose hands show the spare card after the presentations
// that they are told to, late after the bell.
func voidBench(t *testing.T, reads func(int, float64) bool, spareAfter map[int]time.Duration) *bench {
	t.Helper()
	spare := checklist.Entry{N: 1, Type: checklist.EntryMeasure, Measure: &checklist.Measure{
		Name: "tag-role", Value: 1, Unit: "1", Params: map[string]string{"role": checklist.RoleSpare, "uid": spareUID},
	}}
	show := checklist.Entry{N: 2, Type: checklist.EntryMeasure, Measure: &checklist.Measure{
		Name: "tag-role", Value: 1, Unit: "1", Params: map[string]string{"role": checklist.RoleShow, "uid": "04A1B2C3D4E5F6"},
	}}
	b := newBench(t, reads, []checklist.Entry{spare, show})
	b.rig.Person.Hands = func(in checklist.Instruction) {
		b.hands(in)
		if d, also := spareAfter[len(b.shown)]; also && in.Act == checklist.ActPresent {
			b.rig.After(d, func() {
				b.rig.Event(parsers.KindTagPresent, "uid", spareUID)
				b.rig.Event(parsers.KindCardRefused, "uid", spareUID)
			})
			b.rig.After(d+time.Second, func() { b.rig.Event(parsers.KindTagAbsent, "uid", spareUID) })
		}
	}
	return b
}

// The fifth is missed, and in the window of the sixth the spare card says that it
// did not count.
func TestTheSpareCardTakesBackAMiss(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := voidBench(t, func(n int, _ float64) bool { return n != 5 && n != 6 }, map[int]time.Duration{6: time.Second})
		o := b.run(t, "repeat", checklist.Bench)
		f := finding(t, o, "repeatability")
		if *f.Value.Number != 0 || len(f.Rests) != 20 || o.Verdict != checklist.Passed {
			t.Errorf("repeatability = %v resting on %d trials, %s; want 0 misses of 20, passed", f.Value.Text, len(f.Rests), o.Verdict)
		}
		if len(b.shown) != 22 {
			t.Errorf("%d presentations, want 20, the one that did not count and the one under way", len(b.shown))
		}
		v := finding(t, o, "presentations taken back")
		if *v.Value.Number != 1 || !strings.Contains(v.Value.Text, "1 of them missed") || len(v.Rests) != 1 {
			t.Errorf("taken back = %+v; want one, a miss, with its evidence", v)
		}
	})
}

// No window follows the last presentation, so there is a moment for the spare card.
func TestTheSpareCardTakesBackALastMiss(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := voidBench(t, func(n int, _ float64) bool { return n != 20 }, map[int]time.Duration{20: 6 * time.Second})
		o := b.run(t, "repeat", checklist.Bench)
		if f := finding(t, o, "repeatability"); *f.Value.Number != 0 || len(f.Rests) != 20 || len(b.shown) != 21 {
			t.Errorf("%v resting on %d trials after %d presentations; want none missed, 20 and 21", f.Value.Text, len(f.Rests), len(b.shown))
		}
	})
}

// In a range step the trial that is taken back may lie at the spacing before.
func TestTheSpareCardTakesBackATrialAtAnotherSpacing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		// Three in contact, 14 at the cover, of which the last is missed by a slip.
		b := voidBench(t, func(n int, mm float64) bool { return mm < 11 && n != 17 && n != 18 }, map[int]time.Duration{18: time.Second})
		o := b.run(t, "range", checklist.Bench)
		if f := finding(t, o, "read at the cover"); *f.Value.Number != 1 || len(f.Rests) != 14 {
			t.Errorf("%v resting on %d trials; want 14 of 14", f.Value.Text, len(f.Rests))
		}
	})
}

// Shown instead of the sixth, the spare card takes back the fifth, which had been
// read; both are asked for again.
func TestTheSpareCardTakesBackTheTrialOnRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := voidBench(t, func(n int, _ float64) bool { return n != 6 }, map[int]time.Duration{6: time.Second})
		o := b.run(t, "repeat", checklist.Bench)
		if f := finding(t, o, "repeatability"); *f.Value.Number != 0 || len(f.Rests) != 20 {
			t.Errorf("repeatability = %v resting on %d trials; want 0 misses of 20", f.Value.Text, len(f.Rests))
		}
		if len(b.shown) != 22 {
			t.Errorf("%d presentations, want 20, the one under way and the one taken back", len(b.shown))
		}
		for _, e := range b.rig.Keeper.Kept() {
			if e.Measure != nil && e.Measure.Name == "voided" && (e.Measure.Params["result"] != "read" || e.Measure.Params["reason"] == "") {
				t.Errorf("voided = %v; want the trial that was read, and a reason", e.Measure.Params)
			}
		}
	})
}

// The spare card again and again takes back one trial, not one after the other.
func TestTheSpareCardLeftLyingTakesBackOneTrialOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		gone := map[int]bool{6: true, 7: true, 8: true}
		b := voidBench(t, func(n int, _ float64) bool { return !gone[n] }, map[int]time.Duration{6: time.Second, 7: time.Second, 8: time.Second})
		o := b.run(t, "repeat", checklist.Bench)
		if f := finding(t, o, "repeatability"); *f.Value.Number != 0 || len(b.shown) != 24 {
			t.Errorf("%v after %d presentations; want none missed, 20 and three under way and one taken back", f.Value.Text, len(b.shown))
		}
	})
}

// Common practice, no source: a step most of whose misses are explained away has
// measured nothing.
func TestManyMissesTakenBackConfirmNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		gone, spare := map[int]bool{}, map[int]time.Duration{}
		for n := 2; n <= 11; n += 3 { // missed, and taken back in the window after it
			gone[n], gone[n+1] = true, true
			spare[n+1] = time.Second
		}
		b := voidBench(t, func(n int, _ float64) bool { return !gone[n] }, spare)
		if o := b.run(t, "repeat", checklist.Bench); o.Verdict != checklist.NotConfirmed {
			t.Errorf("four misses taken back: %s, want %s", o.Verdict, checklist.NotConfirmed)
		}
	})
}

// Hands that take 3 s get 6 s for the next: 5 s is read then, and is missed where
// hands were quick so far. The window of the step's file is 4 s.
func TestTheWindowGrowsWithSlowHands(t *testing.T) {
	for name, tt := range map[string]struct {
		before time.Duration
		missed float64
	}{"slow": {3 * time.Second, 0}, "quick": {time.Second, 1}} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := voidBench(t, func(int, float64) bool { return false }, nil)
				hands := b.rig.Person.Hands
				b.rig.Person.Hands = func(in checklist.Instruction) {
					hands(in)
					d := tt.before
					if len(b.shown) == 5 {
						d = 5 * time.Second
					}
					b.rig.After(d, func() { b.rig.Event(parsers.KindTagPresent, "uid", b.uid) })
					b.rig.After(d+time.Second/2, func() { b.rig.Event(parsers.KindTagAbsent, "uid", b.uid) })
				}
				o := b.run(t, "repeat", checklist.Bench)
				if f := finding(t, o, "repeatability"); *f.Value.Number != tt.missed {
					t.Errorf("%v; want %g missed", f.Value.Text, tt.missed)
				}
			})
		})
	}
}

// Nothing is taken back that nobody took back.
func TestAnUndisturbedStepTakesNothingBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, func(int, float64) bool { return true }, nil)
		o := b.run(t, "repeat", checklist.Bench)
		for _, f := range o.Findings {
			if f.What == "presentations taken back" {
				t.Errorf("%+v in an undisturbed step", f)
			}
		}
	})
}
