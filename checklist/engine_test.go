package checklist_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
)

// nobody follows instructions and has no answers.
type nobody struct{}

func (nobody) Instruct(context.Context, checklist.Instruction) error { return nil }
func (nobody) Ask(context.Context, checklist.Question) (checklist.Answer, error) {
	return checklist.Answer{}, checklist.ErrNoAnswer
}

const threeSteps = `
name = "three"
[[step]]
id = "one"
sitting = "bench"
check = "first"
rests_on = ["soldering"]
[[step]]
id = "two"
sitting = "bench"
check = "second"
needs = ["one"]
rests_on = ["settings"]
[[step]]
id = "three"
sitting = "bench"
check = "third"
`

// verdictCheck measures once and finds what it is told.
func verdictCheck(calls *[]string, name string, v checklist.Verdict) checklist.Check {
	return checklist.BlindCheckFunc(func(_ context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
		*calls = append(*calls, name)
		m, err := s.Measure(checklist.Measure{Name: "m", Value: 1})
		return []checklist.Finding{{What: name, Verdict: v, Rests: checklist.RefsOf(m)}}, err
	})
}

func engineOf(t *testing.T, entries []checklist.Entry, checks checklist.Checks) (*checklist.Engine, *memory) {
	t.Helper()
	p, err := checklist.ParseProcedure("three.toml", []byte(threeSteps))
	if err != nil {
		t.Fatal(err)
	}
	keep := &memory{kept: entries}
	return &checklist.Engine{
		Log: checklist.NewLog(bubbleClock{}, keep, entries), Clock: bubbleClock{}, Person: nobody{}, Checks: checks, Procedure: p,
	}, keep
}

func TestAStepWhoseNeedFailedIsSkippedAndTheOthersRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var calls []string
		e, _ := engineOf(t, nil, checklist.Checks{
			"first": verdictCheck(&calls, "first", checklist.Failed), "second": verdictCheck(&calls, "second", checklist.Passed),
			"third": verdictCheck(&calls, "third", checklist.Passed),
		})
		verdicts := map[string]checklist.Verdict{}
		e.Decided = func(d checklist.Decision) { verdicts[d.Step.ID] = d.Outcome.Verdict }
		worst, err := e.Run(t.Context(), checklist.Bench)
		if err != nil || worst != checklist.Failed {
			t.Errorf("Run = %q, %v; want failed", worst, err)
		}
		want := map[string]checklist.Verdict{"one": checklist.Failed, "two": checklist.Skipped, "three": checklist.Passed}
		if diff := cmp.Diff(want, verdicts); diff != "" {
			t.Errorf("verdicts (-want +got):\n%s", diff)
		}
		if diff := cmp.Diff([]string{"first", "third"}, calls); diff != "" {
			t.Errorf("checks run (-want +got):\n%s", diff)
		}
	})
}

func TestAPassWithoutEvidenceIsNotConfirmed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		empty := checklist.BlindCheckFunc(func(context.Context, *checklist.Scene) ([]checklist.Finding, error) {
			return []checklist.Finding{{What: "a wish", Verdict: checklist.Passed}}, nil
		})
		none := checklist.BlindCheckFunc(func(context.Context, *checklist.Scene) ([]checklist.Finding, error) { return nil, nil })
		e, _ := engineOf(t, nil, checklist.Checks{"first": empty, "second": none, "third": none})
		e.Decided = func(d checklist.Decision) {
			if d.Outcome.Verdict != checklist.NotConfirmed {
				t.Errorf("step %q: %q, want not confirmed", d.Step.ID, d.Outcome.Verdict)
			}
		}
		if worst, err := e.Run(t.Context(), checklist.Bench); worst != checklist.NotConfirmed || err != nil {
			t.Errorf("Run = %q, %v; want not confirmed", worst, err)
		}
	})
}

func TestWhatIsDecidedIsNotRunAgainUnlessItsGroundChanged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var calls []string
		checks := checklist.Checks{
			"first": verdictCheck(&calls, "first", checklist.Passed), "second": verdictCheck(&calls, "second", checklist.Passed),
			"third": verdictCheck(&calls, "third", checklist.Passed),
		}
		e, keep := engineOf(t, nil, checks)
		if _, err := e.Run(t.Context(), checklist.Bench); err != nil {
			t.Fatal(err)
		}
		calls = nil
		again, _ := engineOf(t, keep.kept, checks)
		if worst, err := again.Run(t.Context(), checklist.Bench); worst != checklist.Passed || err != nil {
			t.Errorf("second Run = %q, %v; want passed", worst, err)
		}
		if len(calls) != 0 {
			t.Errorf("decided steps were run again: %v", calls)
		}
		changed, _ := engineOf(t, keep.kept, checks)
		if _, err := changed.Log.Append(checklist.Entry{Type: checklist.EntryExpire, Changed: []string{"soldering"}}); err != nil {
			t.Fatal(err)
		}
		if _, err := changed.Run(t.Context(), checklist.Bench); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]string{"first"}, calls); diff != "" {
			t.Errorf("checks run after the soldering changed (-want +got):\n%s", diff)
		}
	})
}

func TestAStepBrokenOffIsBegunAgainAndSeesItsEarlierMeasures(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		gone := errors.New("killed")
		seen := -1
		counting := checklist.BlindCheckFunc(func(_ context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
			had := s.Measures("trial")
			if seen = len(had); seen == 0 {
				if _, err := s.Measure(checklist.Measure{Name: "trial", Value: 1}); err != nil {
					return nil, err
				}
				return nil, gone
			}
			return []checklist.Finding{{What: "trials", Verdict: checklist.Passed, Rests: checklist.RefsOf(had...)}}, nil
		})
		var calls []string
		pass := verdictCheck(&calls, "other", checklist.Passed)
		checks := checklist.Checks{"first": counting, "second": pass, "third": pass}
		e, keep := engineOf(t, nil, checks)
		if _, err := e.Run(t.Context(), checklist.Bench); !errors.Is(err, gone) || !strings.Contains(err.Error(), `step "one"`) {
			t.Fatalf("Run = %v; want the check's error with the step's name", err)
		}
		again, _ := engineOf(t, keep.kept, checks)
		again.Decided = func(d checklist.Decision) {
			if d.Step.ID == "one" && d.Outcome.Attempts != 2 {
				t.Errorf("attempts = %d, want 2", d.Outcome.Attempts)
			}
		}
		if worst, err := again.Run(t.Context(), checklist.Bench); worst != checklist.Passed || err != nil || seen != 1 {
			t.Errorf("resumed Run = %q, %v with %d earlier trials; want passed with 1", worst, err, seen)
		}
	})
}

func TestThePersonMaySkipAndAbort(t *testing.T) {
	for name, tt := range map[string]struct {
		say     checklist.Command
		want    checklist.Verdict
		aborted bool
	}{
		"skip":  {say: checklist.Command{Verb: checklist.CommandSkip, Text: "no spacers here"}, want: checklist.Skipped},
		"abort": {say: checklist.Command{Verb: checklist.CommandAbort, Text: "group at the door"}, aborted: true},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var calls []string
				pass := verdictCheck(&calls, "other", checklist.Passed)
				waits := checklist.BlindCheckFunc(func(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
					_, _, err := s.Await(ctx, s.Cursor(), time.Hour, func(checklist.Entry) bool { return false })
					return nil, err
				})
				e, _ := engineOf(t, nil, checklist.Checks{"first": waits, "second": pass, "third": pass})
				said := make(chan checklist.Command)
				e.Commands = said
				time.AfterFunc(time.Second, func() { said <- tt.say })
				var first checklist.Outcome
				e.Decided = func(d checklist.Decision) {
					if d.Step.ID == "one" {
						first = d.Outcome
					}
				}
				_, err := e.Run(t.Context(), checklist.Bench)
				if errors.Is(err, checklist.ErrAborted) != tt.aborted || (err != nil) != tt.aborted {
					t.Fatalf("Run = %v; want aborted %t", err, tt.aborted)
				}
				if !tt.aborted && (first.Verdict != tt.want || first.Reason != tt.say.Text) {
					t.Errorf("step one: %q for %q; want %q for %q", first.Verdict, first.Reason, tt.want, tt.say.Text)
				}
			})
		})
	}
}

func TestUnknownKindOfCheckIsRefusedBeforeAnythingRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e, keep := engineOf(t, nil, checklist.Checks{})
		_, err := e.Run(t.Context(), checklist.Bench)
		if err == nil || !strings.Contains(err.Error(), `step "one": field check: "first"`) {
			t.Errorf("Run = %v; want an error that names step and kind of check", err)
		}
		if len(keep.kept) != 0 {
			t.Errorf("%d entries were written", len(keep.kept))
		}
	})
}

// A failed step whose cause was found and repaired runs again as the proof, and so does
// what rested on what the repair changed; what it opened for its dependants is used.
func TestARepairedStepRunsAgainAsTheProof(t *testing.T) {
	for name, tt := range map[string]struct {
		made  *checklist.Diagnosis
		calls []string
		worst checklist.Verdict
	}{
		"cured": {&checklist.Diagnosis{Cured: true, Repairs: []checklist.DiagnosisRepair{{Cause: checklist.DiagnosisCause{ID: "c", Title: "C"}, Cured: true}}},
			[]string{"first", "third", "third"}, checklist.Passed},
		"cured by a change": {&checklist.Diagnosis{Cured: true, Changed: []string{"soldering"}}, []string{"first", "third", "first", "third"}, checklist.Passed},
		"not cured":         {&checklist.Diagnosis{}, []string{"first", "third"}, checklist.Failed},
		"nobody looked":     {nil, []string{"first", "third"}, checklist.Failed},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var calls []string
				broken := true
				e, keep := engineOf(t, nil, checklist.Checks{
					"first": verdictCheck(&calls, "first", checklist.Passed), "second": verdictCheck(new([]string), "second", checklist.Passed),
					"third": checklist.BlindCheckFunc(func(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
						if len(s.Measures("m")) > 0 {
							t.Error("the proof sees what was measured before the repair")
						}
						v := checklist.Passed
						if broken {
							v = checklist.Failed
						}
						return verdictCheck(&calls, "third", v).Run(ctx, s)
					}),
				})
				asked := 0
				e.Failed = func(_ context.Context, d checklist.Decision) (*checklist.Diagnosis, error) {
					asked++
					if d.Step.ID != "three" {
						t.Errorf("asked about step %q, which did not fail", d.Step.ID)
					}
					broken = false
					return tt.made, nil
				}
				worst, err := e.Run(t.Context(), checklist.Bench)
				if err != nil || worst != tt.worst || asked != 1 {
					t.Errorf("Run = %q, %v, asked %d times; want %q, once", worst, err, asked, tt.worst)
				}
				if diff := cmp.Diff(tt.calls, calls); diff != "" {
					t.Errorf("checks run (-want +got):\n%s", diff)
				}
				// The record stays, with the failed verdict before it and the proof after it.
				var places []string
				for _, entry := range keep.kept {
					if entry.Step == "three" && entry.Outcome != nil {
						places = append(places, string(entry.Outcome.Verdict))
					}
					if entry.Diagnosis != nil {
						places = append(places, entry.Step)
					}
				}
				want := []string{"failed"}
				if tt.made != nil {
					want = append(want, "three")
				}
				if tt.worst == checklist.Passed {
					want = append(want, "passed")
				}
				if diff := cmp.Diff(want, places); diff != "" {
					t.Errorf("on record (-want +got):\n%s", diff)
				}
			})
		})
	}
}

// What was found out until somebody broke the looking off is on record all the same.
func TestADiagnosisBrokenOffIsOnRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var calls []string
		e, keep := engineOf(t, nil, checklist.Checks{
			"first": verdictCheck(&calls, "first", checklist.Failed), "second": verdictCheck(&calls, "second", checklist.Passed),
			"third": verdictCheck(&calls, "third", checklist.Passed),
		})
		e.Failed = func(context.Context, checklist.Decision) (*checklist.Diagnosis, error) {
			return &checklist.Diagnosis{Tests: []checklist.DiagnosisTest{{Ask: "a", Answer: "b"}}}, checklist.ErrPersonGone
		}
		if _, err := e.Run(t.Context(), checklist.Bench); !errors.Is(err, checklist.ErrPersonGone) {
			t.Errorf("Run: %v, want that the person has gone", err)
		}
		last := keep.kept[len(keep.kept)-1]
		if last.Diagnosis == nil || len(last.Diagnosis.Tests) != 1 || last.Step != "one" {
			t.Errorf("last entry %+v; want the diagnosis of step one", last)
		}
	})
}

// In a later sitting the search for a failed step's cause is taken up where it was cut
// off, and only there.
func TestASearchThatWasCutOffIsTakenUpAgain(t *testing.T) {
	for name, unfinished := range map[string]func(checklist.Step) bool{
		"cut off": func(s checklist.Step) bool { return s.ID == "one" }, "ended": func(checklist.Step) bool { return false }, "not known": nil,
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var calls, asked []string
				e, _ := engineOf(t, nil, checklist.Checks{
					"first": verdictCheck(&calls, "first", checklist.Failed), "second": verdictCheck(&calls, "second", checklist.Passed),
					"third": verdictCheck(&calls, "third", checklist.Passed),
				})
				if _, err := e.Run(t.Context(), checklist.Bench); err != nil {
					t.Fatal(err)
				}
				e.Failed = func(_ context.Context, d checklist.Decision) (*checklist.Diagnosis, error) {
					asked = append(asked, d.Step.ID)
					return nil, nil
				}
				e.Unfinished = unfinished
				if _, err := e.Run(t.Context(), checklist.Bench); err != nil {
					t.Fatal(err)
				}
				var want []string
				if name == "cut off" {
					want = []string{"one"}
				}
				if !slices.Equal(asked, want) {
					t.Errorf("asked about %v, want %v", asked, want)
				}
			})
		})
	}
}
