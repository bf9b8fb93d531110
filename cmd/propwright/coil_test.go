//go:build linux

package main

import (
	"strings"
	"testing"

	"propwright/checklist"
)

// What the plan says of a coil, what the board's firmware has it do, and how the step
// that tries it comes out. A coil that behaves as planned passes, each other fails at
// the step that is there for it; what a stand-in cannot show is not confirmed.
func TestACoilIsHeldAgainstWhatIsPlannedForIt(t *testing.T) {
	for name, tt := range map[string]struct {
		planned, built string
		step, finding  string
		want           checklist.Verdict
	}{
		"follows":                      {"follows", "", "link", "coil off again", checklist.Passed},
		"pulses":                       {"pulse", "", "link", "coil off again", checklist.Passed},
		"toggles":                      {"toggle", "", "link", "coil toggles", checklist.Passed},
		"follows where a pulse is due": {"pulse", "follows", "link", "coil off again", checklist.Failed},
		"follows for a toggle":         {"toggle", "follows", "link", "coil toggles", checklist.Failed},
		"toggles for a follower":       {"follows", "toggle", "link", "coil", checklist.Failed},
		"on at boot":                   {"follows at_boot=on", "", "coil-at-boot", "coil at boot with a tag lying there", checklist.Passed},
		"off at boot":                  {"follows at_boot=off", "", "coil-at-boot", "coil at boot with a tag lying there", checklist.Passed},
		"on at boot, not planned":      {"follows at_boot=off", "follows at_boot=on", "coil-at-boot", "coil at boot with a tag lying there", checklist.Failed},
		"off at boot, not planned":     {"follows at_boot=on", "follows at_boot=off", "coil-at-boot", "coil at boot with a tag lying there", checklist.Failed},
		"kept over a reset":            {"toggle after_reset=keeps", "", "coil-after-reset", "toggled coil after a restart", checklist.Passed},
		"forgotten, as planned":        {"toggle after_reset=off", "", "coil-after-reset", "toggled coil after a restart", checklist.Passed},
		"forgotten":                    {"toggle after_reset=keeps", "toggle after_reset=off", "coil-after-reset", "toggled coil after a restart", checklist.Failed},
		"kept, not planned":            {"toggle after_reset=off", "toggle after_reset=keeps", "coil-after-reset", "toggled coil after a restart", checklist.Failed},
		"dead, stays":                  {"follows when_dead=stays", "", "coil-when-dead", "coil while the board is dead", checklist.Passed},
		"dead, back off":               {"follows when_dead=stays", "", "coil-when-dead", "coil once the board is back", checklist.Passed},
		"dead, a watchdog is planned":  {"follows when_dead=off", "", "coil-when-dead", "coil while the board is dead", checklist.NotConfirmed},
		"dead, a toggle is kept":       {"toggle when_dead=stays after_reset=keeps", "", "coil-when-dead", "coil once the board is back", checklist.Passed},
		"dead, a toggle is forgotten":  {"toggle when_dead=stays after_reset=keeps", "toggle", "coil-when-dead", "coil once the board is back", checklist.Failed},
		"dead, a pulse":                {"pulse when_dead=stays", "", "coil-when-dead", "coil while the board is dead", checklist.NotConfirmed},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newSimBenchFor(t, demoOptions{coil: tt.planned, built: tt.built})
			// What the steps on the coil rest on, and they themselves.
			only := map[checklist.Sitting][]string{
				checklist.Bench: {"attach", "reader-chip", "master", "programming", "cards", "link", "coil-at-boot", "coil-after-reset"},
				checklist.Site:  {"in-service", "coil-when-dead"},
			}
			for _, sitting := range []checklist.Sitting{checklist.Bench, checklist.Site} {
				if sitting == checklist.Site && tt.step != "coil-when-dead" {
					continue
				}
				if _, err := b.sit(t.Context(), sittingPlan{sitting: sitting, only: only[sitting]}); err != nil {
					t.Fatal(err)
				}
			}
			got := map[string]checklist.Verdict{}
			for _, s := range b.report().Steps {
				for _, f := range s.Findings {
					key := s.ID + ": " + f.What
					if worst, more := got[key]; more {
						f.Verdict = f.Verdict.Worse(worst)
					}
					got[key] = f.Verdict
				}
			}
			if v := got[tt.step+": "+tt.finding]; v != tt.want {
				t.Errorf("%s of step %s: %q, want %q\n%s", tt.finding, tt.step, v, tt.want, b.verdicts())
			}
		})
	}
}

// Steps on a coil's states are there for the readers whose plan says that of their
// coil, and for no other.
func TestStatesOfACoilAreTriedWhereThePlanNamesThem(t *testing.T) {
	p, err := checklist.BuiltinProcedure(checklist.ProcedureNew)
	if err != nil {
		t.Fatal(err)
	}
	steps := func(readers ...checklist.Reader) (found []string) {
		for _, s := range p.Of(checklist.Item{Readers: readers}).Steps {
			if strings.HasPrefix(s.ID, "coil-") {
				found = append(found, s.Title)
			}
		}
		return found
	}
	if got := steps(checklist.Reader{Coil: 117}); got != nil {
		t.Errorf("nothing planned: %v", got)
	}
	got := strings.Join(steps(checklist.Reader{Coil: 117}, checklist.Reader{Index: 1, Coil: 121, AtBoot: "off"}, checklist.Reader{Index: 2, Coil: 122, WhenDead: "stays"}), "; ")
	if want := "Coil at boot with a tag there, reader 1; Coil when the board dies, reader 2"; got != want {
		t.Errorf("steps %q, want %q", got, want)
	}
}
