package link_test

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// The rows of the command contract's table of faults that the step "in-service"
// must show, and what else a board may do once USB is away.
func TestInServiceShowsWhatIsWrong(t *testing.T) {
	for name, tt := range map[string]struct {
		change  func(*desk, *checklist.Item)
		verdict checklist.Verdict
		words   []string
	}{
		"nothing":        {verdict: checklist.Passed, words: []string{"0 of 11 starts failed"}},
		"nothing, coil":  {verdict: checklist.Passed, words: []string{"coil 117 on and off 11 of 11"}},
		"nothing, away":  {verdict: checklist.Passed, words: []string{"controller away and back", "reconnected after 4.0 s"}},
		"weak-adapter":   {change: func(d *desk, _ *checklist.Item) { d.starts = func(int) bool { return false } }, verdict: checklist.Failed, words: []string{"fine on USB, dead on its own supply"}},
		"cold-start":     {change: func(d *desk, _ *checklist.Item) { d.starts = func(n int) bool { return n != 2 && n%3 != 0 } }, verdict: checklist.Failed, words: []string{"4 of 11 starts failed"}},
		"one bad start":  {change: func(d *desk, _ *checklist.Item) { d.starts = func(n int) bool { return n != 5 } }, verdict: checklist.Failed, words: []string{"1 of 11 starts failed", "no connection 1 times"}},
		"a late return":  {change: func(d *desk, _ *checklist.Item) { d.lateReturn = true }, verdict: checklist.Passed, words: []string{"only when it had something to write"}},
		"the wrong coil": {change: func(d *desk, _ *checklist.Item) { d.coil = 118 }, verdict: checklist.Failed, words: []string{"coil 118 seen, coil 117 planned"}},
		"no way off":     {change: func(d *desk, _ *checklist.Item) { d.staysOn = true }, verdict: checklist.Failed, words: []string{"on without off"}},
		"never connected": {
			change:  func(d *desk, _ *checklist.Item) { d.noLink, d.starts = true, func(int) bool { return false } },
			verdict: checklist.Failed, words: []string{"No connection under USB either"},
		},
		"a hang at the last start": {
			change:  func(d *desk, _ *checklist.Item) { d.starts = func(n int) bool { return n != 11 } },
			verdict: checklist.NotConfirmed, words: []string{"controller away and back", "not tried"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDesk(t, nil, tt.change)
				o, err := d.run(t, checklist.Site, "in-service")
				if err != nil {
					t.Fatal(err)
				}
				f, ok := said(o, tt.words...)
				if !ok || f.Verdict != tt.verdict || o.Verdict.Worse(tt.verdict) != o.Verdict {
					t.Errorf("verdict %q, finding %q; want %q with %q, got %q", o.Verdict, f.Verdict, tt.verdict, tt.words, values(o))
				}
				if tt.verdict == checklist.Passed && o.Verdict != checklist.Passed {
					t.Errorf("verdict %q: %+v; want passed", o.Verdict, o.Findings)
				}
			})
		})
	}
}

func TestOneSourceAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t, nil, nil)
		if _, err := d.run(t, checklist.Site, "in-service"); err != nil {
			t.Fatal(err)
		}
		var off time.Time
		for _, e := range d.rig.Keeper.Kept() {
			switch {
			case e.Instruct == nil:
			case e.Instruct.Act == checklist.ActSupplyOff:
				off = e.At
			case e.Instruct.Act == checklist.ActSupplyOn && !off.IsZero() && e.At.Sub(off) != 5*time.Second:
				t.Errorf("entry %d: off for %v; want 5 s as the step says", e.N, e.At.Sub(off))
			}
		}
		var acts []string
		for _, in := range d.rig.Person.Told() {
			switch in.Act {
			case checklist.ActUSBOut, checklist.ActUSBIn, checklist.ActSupplyOn, checklist.ActSupplyOff:
				acts = append(acts, string(in.Act))
			}
		}
		// USB goes before the supply comes, and ten off and on follow.
		want := "usb-out supply-on" + strings.Repeat(" supply-off supply-on", 10)
		if got := strings.Join(acts, " "); got != want {
			t.Errorf("hands: %s; want %s", got, want)
		}
	})
}

// The step, run again because the supply is another one, does not ask for what is
// away already; once a port was opened USB is in again and has to go.
func TestInServiceAsksForUSBOutOnlyWhereItIsIn(t *testing.T) {
	for name, tt := range map[string]struct {
		opened bool
		want   int
	}{"USB is out already": {want: 0}, "a port was opened since": {opened: true, want: 1}} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				first := newDesk(t, nil, nil)
				if _, err := first.run(t, checklist.Site, "in-service"); err != nil {
					t.Fatal(err)
				}
				kept := first.rig.Keeper.Kept()
				kept = append(kept, resumed(len(kept)))
				kept = append(kept, checklist.Entry{N: int64(len(kept)) + 1, Type: checklist.EntryExpire, Changed: []string{"supply"}})
				again := newDesk(t, kept, nil)
				if tt.opened {
					again.rig.Host(parsers.KindAttached)
				}
				o, err := again.run(t, checklist.Site, "in-service")
				if err != nil || o.Verdict != checklist.Passed {
					t.Fatalf("run again: %v, %q with %q; want passed", err, o.Verdict, values(o))
				}
				asked := 0
				for _, in := range again.rig.Person.Told() {
					if in.Act == checklist.ActUSBOut {
						asked++
					}
				}
				if asked != tt.want {
					t.Errorf("asked %d times for USB out, want %d", asked, tt.want)
				}
			})
		})
	}
}

func TestADeadBoardIsNotStartedElevenTimes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t, nil, func(d *desk, _ *checklist.Item) { d.starts = func(int) bool { return false } })
		o, err := d.run(t, checklist.Site, "in-service")
		if f, ok := said(o, "starts failed"); err != nil || !ok || d.powerups != 4 || !strings.Contains(f.Value.Text, "4 of 4") {
			t.Errorf("%v, %d starts, %q; want 4 and 4 of 4", err, d.powerups, f.Value.Text)
		}
	})
}

func TestInServiceGoesOnAfterTheStartsOnRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		whole := newDesk(t, nil, nil)
		want, err := whole.run(t, checklist.Site, "in-service")
		if err != nil {
			t.Fatal(err)
		}
		length := len(whole.rig.Keeper.Kept())
		for at := 4; at < length; at += 7 {
			broken := newDesk(t, nil, nil)
			broken.rig.Keeper.BreakAt = at
			if _, err := broken.run(t, checklist.Site, "in-service"); err == nil {
				t.Fatalf("a keeper that breaks after %d entries did not stop the run", at)
			}
			time.Sleep(2 * time.Minute) // in the bubble: what hands had begun ends
			kept := broken.rig.Keeper.Kept()
			again := newDesk(t, append(kept, resumed(len(kept))), nil)
			got, err := again.run(t, checklist.Site, "in-service")
			if err != nil || got.Verdict != want.Verdict {
				t.Errorf("broken after %d entries: %v, %q with %q; want as undisturbed", at, err, got.Verdict, values(got))
			}
			if n := again.powerups + broken.powerups; n < 11 || n > 12 {
				t.Errorf("broken after %d entries: %d starts in all; want 11, or 12 where one was under way", at, n)
			}
			lifted := true
			for _, e := range again.rig.Keeper.Kept() {
				if e.Instruct != nil && e.Instruct.Act == checklist.ActTake {
					lifted = true
				}
				if e.Instruct != nil && e.Instruct.Act == checklist.ActPlace {
					if !lifted {
						t.Errorf("broken after %d entries: entry %d lays a tag on the one that was left there", at, e.N)
					}
					lifted = false
				}
			}
		}
	})
}

func TestCleanUpShowsTheTagOnceMoreAndTidies(t *testing.T) {
	for name, tt := range map[string]struct {
		change  func(*desk, *checklist.Item)
		verdict checklist.Verdict
		value   string
	}{
		"works":      {verdict: checklist.Passed, value: "coil 117 on and off"},
		"stays on":   {change: func(d *desk, _ *checklist.Item) { d.staysOn = true }, verdict: checklist.Failed, value: "on without off"},
		"wrong coil": {change: func(d *desk, _ *checklist.Item) { d.coil = 118 }, verdict: checklist.Failed, value: "coil 118 seen, coil 117 planned"},
		"no write":   {change: func(d *desk, _ *checklist.Item) { d.deaf = true }, verdict: checklist.Failed, value: "no write"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDesk(t, nil, tt.change)
				o, err := d.run(t, checklist.Site, "clean-up")
				if err != nil {
					t.Fatal(err)
				}
				if f := o.Findings[0]; o.Verdict != tt.verdict || f.Value.Text != tt.value {
					t.Errorf("%q with %q; want %q with %q", o.Verdict, f.Value.Text, tt.verdict, tt.value)
				}
				told := d.rig.Person.Told()
				if last := told[len(told)-1]; last.Act != checklist.ActNote || !strings.Contains(last.Text, "master") {
					t.Errorf("last instruction %+v; want a note on the master", last)
				}
			})
		})
	}
}
