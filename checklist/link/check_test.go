package link_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
)

var (
	_ checklist.Check = link.Check{}
	_ checklist.Check = link.InService{}
	_ checklist.Check = link.CleanUpSite{}
	_ link.Switch     = (*link.StandIn)(nil)
)

// The rows of the command contract's table of faults that the step "link" must
// show, and what else a board may do.
func TestLinkShowsWhatIsWrong(t *testing.T) {
	for name, tt := range map[string]struct {
		change  func(*desk, *checklist.Item)
		verdict checklist.Verdict // of the step
		finding checklist.Verdict // of the finding that holds words; the step's where empty
		words   []string
	}{
		"nothing":          {verdict: checklist.Passed, words: []string{"coil 117, 5 of 5"}},
		"no-cable":         {change: func(d *desk, _ *checklist.Item) { d.noLink = true }, verdict: checklist.Failed, words: []string{"network link", "no link"}},
		"wrong-controller": {change: func(d *desk, _ *checklist.Item) { d.dials = "10.77.0.99:502" }, verdict: checklist.Failed, words: []string{"dials 10.77.0.99:502", "planned 10.77.0.10:502"}},
		"coil-plus-one":    {change: func(d *desk, _ *checklist.Item) { d.coil = 118 }, verdict: checklist.Failed, words: []string{"coil 118 seen", "coil 117 planned", "address 117 ", "address 116 ", "chart-table"}},
		"coil-stays-on":    {change: func(d *desk, _ *checklist.Item) { d.staysOn = true }, verdict: checklist.Failed, words: []string{"on without off, 5 of 5"}},
		"slow-coil":        {change: func(d *desk, _ *checklist.Item) { d.delay = 1600 * time.Millisecond }, verdict: checklist.Failed, words: []string{"Delay 1.60 s, limit 1 s", "median 1.60 s, worst 1.60 s of 5"}},
		"no-reconnect":     {change: func(d *desk, _ *checklist.Item) { d.stuck = true }, verdict: checklist.Failed, words: []string{"recovery", "30 s since the cable came back"}},

		"a planned address that nothing arrives at": {change: func(d *desk, _ *checklist.Item) { d.dials = "10.77.0.10:502" }, verdict: checklist.Failed, words: []string{"nothing arrived", "firewall"}},
		"a delay between the limits":                {change: func(d *desk, _ *checklist.Item) { d.delay = 700 * time.Millisecond }, verdict: checklist.Passed, words: []string{"worst 0.70 s of 5", "Note: slower than 0.5 s"}},
		"a delay at the lower limit":                {change: func(d *desk, _ *checklist.Item) { d.delay = 500 * time.Millisecond }, verdict: checklist.Passed, words: []string{"worst 0.50 s of 5"}},
		"a write before the console's line":         {change: func(d *desk, _ *checklist.Item) { d.delay = -20 * time.Millisecond }, verdict: checklist.Passed, words: []string{"worst -0.02 s of 5"}},
		"another unit":                              {change: func(d *desk, _ *checklist.Item) { d.unit = 3 }, verdict: checklist.Failed, words: []string{"unit 3", "unit 1"}},
		"a coil that the controller refuses":        {change: func(d *desk, _ *checklist.Item) { d.answer = "exception 02" }, verdict: checklist.Failed, words: []string{"exception 02"}},
		"no write at all":                           {change: func(d *desk, _ *checklist.Item) { d.deaf = true }, verdict: checklist.Failed, words: []string{"no coil was written"}},
		"a card on no list":                         {change: func(d *desk, _ *checklist.Item) { d.refuses = true }, verdict: checklist.NotConfirmed, words: []string{"tag not accepted in 5"}},
		"a tag that is not read":                    {change: func(d *desk, _ *checklist.Item) { d.unread = true }, verdict: checklist.NotConfirmed, words: []string{"tag not accepted in 5"}},
		"a cable pull that nobody notices":          {change: func(d *desk, _ *checklist.Item) { d.oblivious = true }, verdict: checklist.Passed, words: []string{"recovery", "kept its connection"}},
		"a pulse as planned": {
			change:  func(d *desk, it *checklist.Item) { d.pulse, it.Readers[0].Behaviour = 2*time.Second, "pulse" },
			verdict: checklist.Passed, words: []string{"off again 5 of 5"},
		},
		"a pulse that does not end": {
			change:  func(d *desk, it *checklist.Item) { d.staysOn, it.Readers[0].Behaviour = true, "pulse" },
			verdict: checklist.Failed, words: []string{"did not fall back"},
		},
		"a toggle as planned": {
			change:  func(d *desk, it *checklist.Item) { d.toggles, it.Readers[0].Behaviour = true, "toggle" },
			verdict: checklist.Passed, words: []string{"the same way twice, 0 times"},
		},
		"a toggle planned and none built": {
			change:  func(d *desk, it *checklist.Item) { d.staysOn, it.Readers[0].Behaviour = true, "toggle" },
			verdict: checklist.Failed, words: []string{"the same way twice, 4 times"},
		},
		"no coil planned": {
			change:  func(_ *desk, it *checklist.Item) { it.Readers = nil },
			verdict: checklist.NotConfirmed, words: []string{"plan names no coil"},
		},
		"a recovery, timed from the link": {verdict: checklist.Passed, words: []string{"recovery", "reconnected after 2.0 s"}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o, err := newDesk(t, nil, tt.change).run(t, checklist.Bench, "link")
				if err != nil {
					t.Fatal(err)
				}
				f, ok := said(o, tt.words...)
				if o.Verdict != tt.verdict || !ok || f.Verdict != tt.verdict {
					t.Errorf("verdict %q, finding %q; want %q with %q, got %q", o.Verdict, f.Verdict, tt.verdict, tt.words, values(o))
				}
				for _, f := range o.Findings {
					if len(f.Rests) == 0 {
						t.Errorf("finding %q: no evidence", f.What)
					}
				}
			})
		})
	}
}

func TestAStaleConnectionIsNoneAfterARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		first := newDesk(t, nil, nil)
		first.boot() // connects; then the board restarts without a word to the controller
		d := newDesk(t, first.rig.Keeper.Kept(), func(d *desk, _ *checklist.Item) { d.noLink = true })
		o, err := d.run(t, checklist.Bench, "link")
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := said(o, "no link"); !ok || o.Verdict != checklist.Failed {
			t.Errorf("%q: %+v; want failed for no link", o.Verdict, o.Findings)
		}
	})
}

func TestAnEarlierProcesssConnectionIsNone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		first := newDesk(t, nil, nil)
		first.connect()
		d := newDesk(t, append(first.rig.Keeper.Kept(), resumed(1)), func(d *desk, _ *checklist.Item) { d.usbOut = true })
		o, err := d.run(t, checklist.Bench, "link")
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := said(o, "nothing arrived"); !ok || o.Verdict != checklist.Failed {
			t.Errorf("%q with %q; want failed because nothing arrived", o.Verdict, values(o))
		}
	})
}

func TestWithoutAStandInNothingIsConfirmed(t *testing.T) {
	for name, none := range map[string]link.Switch{"nil": nil, "a nil stand-in": (*link.StandIn)(nil)} {
		for _, place := range []checklist.Place{{Sitting: checklist.Bench, Step: "link"}, {Sitting: checklist.Site, Step: "in-service"}, {Sitting: checklist.Site, Step: "clean-up"}} {
			t.Run(name+" "+place.Step, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					d := newDesk(t, nil, nil)
					d.rig.Engine.Checks = checklist.Checks{
						"link": link.Check{StandIn: none}, "in-service": link.InService{StandIn: none}, "clean-up-site": link.CleanUpSite{StandIn: none},
					}
					o, err := d.run(t, place.Sitting, place.Step)
					if _, ok := said(o, "give --listen"); err != nil || !ok || o.Verdict != checklist.NotConfirmed {
						t.Errorf("%q, %v: %+v; want not confirmed", o.Verdict, err, o.Findings)
					}
				})
			})
		}
	}
}

func TestACoilThatMovesSomethingOnSiteNeedsAClearRoom(t *testing.T) {
	for name, tt := range map[string]struct {
		drives, said string
		sitting      checklist.Sitting
		step         string
		asked        bool
		placed       bool
	}{
		"a door, said clear":         {"door", "yes", checklist.Site, "link", true, true},
		"a door, not said clear":     {"door", "no", checklist.Site, "link", true, false},
		"motion in service, refused": {"motion", "no", checklist.Site, "in-service", true, false},
		"motion at the end, refused": {"motion", "no", checklist.Site, "clean-up", true, false},
		"a light":                    {"light", "", checklist.Site, "link", false, true},
		"a door on the bench":        {"door", "", checklist.Bench, "link", false, true},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDesk(t, nil, func(_ *desk, it *checklist.Item) { it.Drives = tt.drives })
				if tt.asked {
					d.rig.Person.Answers = map[string]string{"room-clear": tt.said}
				}
				o, err := d.run(t, tt.sitting, tt.step)
				if err != nil {
					t.Fatal(err)
				}
				placed := slices.ContainsFunc(d.rig.Person.Told(), func(in checklist.Instruction) bool { return in.Act == checklist.ActPlace })
				want := checklist.Passed
				if !tt.placed {
					want = checklist.NotConfirmed
				}
				if placed != tt.placed || o.Verdict != want {
					t.Errorf("%q, tag asked for %t; want %q, %t", o.Verdict, placed, want, tt.placed)
				}
			})
		})
	}
}

// A door on site is not switched when nobody is there to say that the room is clear.
func TestNobodyToAskMeansNothingIsSwitched(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t, nil, func(_ *desk, it *checklist.Item) { it.Drives = "door" })
		if _, err := d.run(t, checklist.Site, "link"); !errors.Is(err, checklist.ErrNoAnswer) || d.placed != 0 {
			t.Errorf("run = %v with %d tags laid; want ErrNoAnswer and none", err, d.placed)
		}
	})
}

// The delay is measured at both ends by the same clock, so it comes out exactly.
func TestTheDelayIsFromTheFirstByteToTheFrame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t, nil, func(d *desk, _ *checklist.Item) { d.delay = 321 * time.Millisecond })
		o, err := d.run(t, checklist.Bench, "link")
		if err != nil {
			t.Fatal(err)
		}
		f, _ := said(o, "tag to coil")
		if f.Value.Number == nil || math.Abs(*f.Value.Number-0.321) > 1e-9 || f.Value.Unit != "s" {
			t.Errorf("delay %+v; want 0.321 s", f.Value)
		}
	})
}

// Interrupted at many places, the step comes out as undisturbed, and no
// presentation on record is made again.
func TestLinkGoesOnAfterTheTrialsOnRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		whole := newDesk(t, nil, nil)
		want, err := whole.run(t, checklist.Bench, "link")
		if err != nil {
			t.Fatal(err)
		}
		length := len(whole.rig.Keeper.Kept())
		for at := 4; at < length; at += 3 {
			broken := newDesk(t, nil, nil)
			broken.rig.Keeper.BreakAt = at
			if _, err := broken.run(t, checklist.Bench, "link"); err == nil {
				t.Fatalf("a keeper that breaks after %d entries did not stop the run", at)
			}
			time.Sleep(time.Minute) // in the bubble: what hands had begun ends
			kept := broken.rig.Keeper.Kept()
			again := newDesk(t, append(kept, resumed(len(kept))), nil)
			got, err := again.run(t, checklist.Bench, "link")
			if err != nil || got.Verdict != want.Verdict || len(got.Findings) != len(want.Findings) {
				t.Errorf("broken after %d entries: %v, %q with %q; want as undisturbed", at, err, got.Verdict, values(got))
			}
			if n := trials(again.rig.Keeper.Kept()); n != 5 {
				t.Errorf("broken after %d entries: %d presentations on record; want 5", at, n)
			}
		}
	})
}

// resumed is the entry with which a new process takes up a run of n entries.
func resumed(n int) checklist.Entry {
	return checklist.Entry{N: int64(n) + 1, At: time.Now().UTC(), Type: checklist.EntryRun, Run: &checklist.RunHeader{Resumed: true}}
}

func trials(entries []checklist.Entry) (n int) {
	for _, e := range entries {
		if e.Measure != nil && e.Measure.Name == "coil-trial" {
			n++
		}
	}
	return n
}

func TestNothingConnectedIsWaitedForAsLongAsTheStepSays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t, nil, func(d *desk, _ *checklist.Item) { d.noLink = true })
		start := time.Now()
		o, err := d.run(t, checklist.Bench, "link")
		if waited := time.Since(start); err != nil || waited < 30*time.Second {
			t.Errorf("decided after %v, %v: %+v; want after 30 s", waited, err, o)
		}
		if f, _ := said(o, "no link"); f.Limit == nil || !strings.Contains(f.Limit.Text, "within 30 s") {
			t.Errorf("limit %+v; want within 30 s", f.Limit)
		}
	})
}
