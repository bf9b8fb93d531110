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

// The window of the step's file is 4 s, and the spare card has 4 s after that.
func TestTheSpareCardTakesBackAMiss(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := voidBench(t, func(n int, _ float64) bool { return n != 5 }, map[int]time.Duration{5: 6 * time.Second})
		o := b.run(t, "repeat", checklist.Bench)
		f := finding(t, o, "repeatability")
		if *f.Value.Number != 0 || len(f.Rests) != 20 || o.Verdict != checklist.Passed {
			t.Errorf("repeatability = %v resting on %d trials, %s; want 0 misses of 20, passed", f.Value.Text, len(f.Rests), o.Verdict)
		}
		if len(b.shown) != 21 {
			t.Errorf("%d presentations, want 20 and the one that did not count", len(b.shown))
		}
		v := finding(t, o, "presentations taken back")
		if *v.Value.Number != 1 || !strings.Contains(v.Value.Text, "1 of them missed") || len(v.Rests) != 1 {
			t.Errorf("taken back = %+v; want one, a miss, with its evidence", v)
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
		bad := map[int]time.Duration{}
		for n := 2; n <= 8; n += 2 {
			bad[n] = 6 * time.Second
		}
		b := voidBench(t, func(n int, _ float64) bool { return bad[n] == 0 }, bad)
		if o := b.run(t, "repeat", checklist.Bench); o.Verdict != checklist.NotConfirmed {
			t.Errorf("four misses taken back: %s, want %s", o.Verdict, checklist.NotConfirmed)
		}
	})
}

// The prop's own tag after the time is up stays a miss; the next window is longer.
func TestALateTagIsAMissAndMakesTheNextWindowLonger(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := voidBench(t, func(n int, _ float64) bool { return n != 5 && n != 6 }, nil)
		hands := b.rig.Person.Hands
		b.rig.Person.Hands = func(in checklist.Instruction) {
			hands(in)
			if n := len(b.shown); n == 5 || n == 6 {
				b.rig.After(5*time.Second, func() { b.rig.Event(parsers.KindTagPresent, "uid", b.uid) })
				b.rig.After(6*time.Second, func() { b.rig.Event(parsers.KindTagAbsent, "uid", b.uid) })
			}
		}
		o := b.run(t, "repeat", checklist.Bench)
		if f := finding(t, o, "repeatability"); *f.Value.Number != 1 {
			t.Errorf("%v; want one miss: the fifth came after 4 s, the sixth within the longer window", f.Value.Text)
		}
	})
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
