package checklist_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"propwright/checklist"
	"propwright/checklist/checklisttest"
	"propwright/parsers"
)

const roomSteps = `
name = "room"
[[step]]
id = "shows"
title = "Shows a tag"
sitting = "site"
check = "shows"
cautions = [{ text = "Mind the bell.", protects = "a bang on the head" }]
[[step]]
id = "shows-again"
title = "Shows a tag again"
sitting = "site"
check = "shows"
cautions = [{ text = "Mind the bell.", protects = "a bang on the head" }, { text = "Mind the rope." , protects = "a fall." }]
[[step]]
id = "sign-off"
title = "Sign-off"
sitting = "site"
check = "sign-off"
`

// shows is a check that shows a tag, as one does that knows nothing of rooms.
func shows(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	e, ok, err := s.Present(ctx, checklist.Presentation{Role: checklist.RoleShow, Act: checklist.ActPresent, Within: 1e9, Kinds: []parsers.Kind{parsers.KindTagPresent}})
	if err != nil || !ok {
		return nil, err
	}
	return []checklist.Finding{{What: "seen", Verdict: checklist.Passed, Rests: checklist.RefsOf(e)}}, nil
}

func roomRig(t *testing.T, drives string, answers map[string]string, earlier []checklist.Entry) *checklisttest.Rig {
	checks := checklist.BuiltinChecks()
	checks["shows"] = checklist.CheckFunc(shows)
	r := checklisttest.NewRig(t, roomSteps, checklist.Item{Drives: drives, Board: checklist.BoardPlan{Leaving: "silent"}}, checks, earlier)
	r.Person.Answers = answers
	r.Person.Hands = func(in checklist.Instruction) {
		if in.Act == checklist.ActPresent {
			r.Event(parsers.KindTagPresent, "uid", "04A1B2C3D4E5F6")
		}
	}
	return r
}

func presented(r *checklisttest.Rig) bool {
	return slices.ContainsFunc(r.Person.Told(), func(in checklist.Instruction) bool { return in.Act == checklist.ActPresent })
}

// A check that knows nothing of rooms cannot move a door either; nor is the port
// opened, since that may restart the board.
func TestNoActMovesADoorBeforeTheRoomIsSaidToBeClear(t *testing.T) {
	for name, tt := range map[string]struct {
		drives, clear, exit string
		want                checklist.Verdict
		moved               bool
	}{
		"a door, room clear":       {"door", "yes", "yes", checklist.Passed, true},
		"a door, room not clear":   {"door", "no", "yes", checklist.NotConfirmed, false},
		"motion, room not clear":   {"motion", "no", "", checklist.NotConfirmed, false},
		"a light: nobody is asked": {"light", "", "", checklist.Passed, true},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				answers := map[string]string{"sign": "yes"}
				if tt.clear != "" {
					answers["room-clear"] = tt.clear
				}
				if tt.exit != "" {
					answers["exit-release"] = tt.exit
				}
				r := roomRig(t, tt.drives, answers, nil)
				o, err := r.Run(t.Context(), checklist.Site)
				if err != nil || o["shows"].Verdict != tt.want || presented(r) != tt.moved {
					t.Errorf("%v, %v, tag asked for %t; want %s, %t", o["shows"], err, presented(r), tt.want, tt.moved)
				}
				opened := slices.ContainsFunc(r.Keeper.Kept(), func(e checklist.Entry) bool { return checklist.IsKind(e, parsers.KindAttached) })
				if opened != tt.moved {
					t.Errorf("port opened %t, want %t", opened, tt.moved)
				}
			})
		})
	}
}

// Who takes up a run on another day must say so again.
func TestTheRoomIsAskedAboutAgainWhenARunIsTakenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		first := roomRig(t, "door", map[string]string{"room-clear": "yes"}, nil)
		first.Keeper.BreakAt = 5 // in the middle of the first step, with the answer kept
		if _, err := first.Run(t.Context(), checklist.Site); err == nil {
			t.Fatal("the keeper that breaks did not stop the run")
		}
		kept := first.Keeper.Kept()
		if !slices.ContainsFunc(kept, func(e checklist.Entry) bool { return e.Answer != nil }) {
			t.Fatalf("no answer among %d entries", len(kept))
		}
		again := roomRig(t, "door", map[string]string{"room-clear": "no", "exit-release": "no", "sign": "yes"}, kept)
		o, err := again.Run(t.Context(), checklist.Site)
		if err != nil || o["shows"].Verdict != checklist.NotConfirmed || presented(again) {
			t.Errorf("%v, %v; want not confirmed and no tag asked for", o["shows"], err)
		}
	})
}

func TestADoorIsSignedOffWithTheReleaseStated(t *testing.T) {
	for said, want := range map[string]checklist.Verdict{"yes": checklist.Passed, "no": checklist.NotConfirmed} {
		synctest.Test(t, func(t *testing.T) {
			r := roomRig(t, "door", map[string]string{"room-clear": "yes", "exit-release": said, "sign": "yes"}, nil)
			o, err := r.Run(t.Context(), checklist.Site)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range o["sign-off"].Findings {
				if strings.HasPrefix(f.What, "release and power cut") {
					if f.Verdict != want || f.How != checklist.Stated || !strings.Contains(f.Note, "proves no exit") || o["sign-off"].Verdict != want {
						t.Errorf("said %q: %+v; want %s, stated, and that it proves no exit", said, f, want)
					}
					return
				}
			}
			t.Errorf("said %q: no finding on the release in %+v", said, o["sign-off"])
		})
	}
}

func TestEachCautionIsShownOnceInASitting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := roomRig(t, "light", map[string]string{"sign": "yes"}, nil)
		if _, err := r.Run(t.Context(), checklist.Site); err != nil {
			t.Fatal(err)
		}
		var shown []string
		for _, in := range r.Person.Told() {
			shown = append(shown, in.Cautions...)
		}
		want := []string{"Mind the bell. Protects from: a bang on the head.", "Mind the rope. Protects from: a fall."}
		if !slices.Equal(shown, want) {
			t.Errorf("cautions shown %q, want %q", shown, want)
		}
	})
}

// Every caution of the built-in procedure says what it protects from, and the
// subjects are there that a bench and a room need (common practice, no source).
func TestBuiltInCautionsSayWhatTheyProtectFrom(t *testing.T) {
	p, err := checklist.BuiltinProcedure("new")
	if err != nil {
		t.Fatal(err)
	}
	all := ""
	for _, s := range p.Steps {
		for _, c := range s.Cautions {
			if c.Protects == "" {
				t.Errorf("step %q: %q does not say what it protects from", s.ID, c.Text)
			}
			all += strings.ToLower(c.String()) + "\n"
		}
	}
	for _, subject := range []string{
		"power off", "extraction", "eye protection", "stand", "wash", "lead-free", "polarity", "marked", "drapes", "licensed",
		"one source", "esd strap", "live", "3.3 v", "by hand and without power", "local codes",
	} {
		if !strings.Contains(all, subject) {
			t.Errorf("no caution speaks of %q", subject)
		}
	}
}

func TestACautionIsRefusedWithoutWhatItProtectsFrom(t *testing.T) {
	for name, text := range map[string]string{
		"no protects": `{ text = "Mind." }`, "another key": `{ text = "Mind.", protects = "harm", colour = "red" }`, "a number": `7`,
	} {
		_, err := checklist.ParseProcedure("site.toml", []byte("name = \"x\"\n[[step]]\nid = \"a\"\nsitting = \"bench\"\ncheck = \"wiring\"\ncautions = ["+text+"]\n"))
		if err == nil || !strings.Contains(err.Error(), "caution") || !strings.Contains(err.Error(), "site.toml") {
			t.Errorf("%s: %v; want an error that names the file and the caution", name, err)
		}
	}
}
