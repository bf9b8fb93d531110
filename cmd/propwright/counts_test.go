package main

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"propwright/checklist"
)

// A toll is what a step asks of the person and of their time.
type toll struct {
	prompts, keys, instructions int
	observed, added, whole      float64 // seconds on the run's clock
}

func (a toll) plus(b toll) toll {
	return toll{
		a.prompts + b.prompts, a.keys + b.keys, a.instructions + b.instructions,
		a.observed + b.observed, a.added + b.added, a.whole + b.whole,
	}
}

// keyPresses is how many keys a terminal's shortest answer takes, Enter included.
func keyPresses(a *checklist.Answer) int {
	switch {
	case a.Value != nil:
		return len(strconv.FormatFloat(*a.Value, 'f', -1, 64)) + 1
	case a.Question.Kind == checklist.AskConfirm:
		return len("y") + 1
	}
	return len(strings.ReplaceAll(a.Text, " ", "")) + 1
}

// tolls adds up a run's log by step; observations are named apart.
func tolls(entries []checklist.Entry) (of map[checklist.Place]toll, observations map[string]float64) {
	of, observations = map[checklist.Place]toll{}, map[string]float64{}
	for _, e := range entries {
		here := checklist.Place{Sitting: e.Sitting, Step: e.Step}
		t := toll{}
		switch {
		case e.Answer != nil:
			t.prompts, t.keys = 1, keyPresses(e.Answer)
		case e.Instruct != nil && e.Instruct.Act != checklist.ActNote:
			t.instructions = 1
		case e.Outcome != nil:
			t.whole = e.Outcome.Seconds
			for _, w := range e.Outcome.Waited {
				if w.Observed == "" {
					t.added += w.Seconds
				} else {
					t.observed += w.Seconds
					observations[w.Observed] += w.Seconds
				}
			}
		default:
			continue
		}
		of[here] = of[here].plus(t)
	}
	return of, observations
}

// A perfect run of each built-in procedure, all its sittings, at virtual boards that
// differ in all that is left to chance. The bounds are the project's own promise:
// less than 5 s of waiting that the tool adds in all, and three prompts at most
// besides what has to be stated or measured before power and the signatures.
func TestPromptsKeysAndWaitsOfAPerfectRun(t *testing.T) {
	for _, procedure := range checklist.BuiltinProcedures() {
		for seed := range uint64(4) {
			t.Run(fmt.Sprintf("%s, seed %d", procedure, seed+1), func(t *testing.T) {
				t.Parallel()
				perfectRun(t, demoOptions{procedure: procedure, seed: seed + 1})
			})
		}
	}
}

func perfectRun(t *testing.T, o demoOptions) {
	const mostAdded, mostPrompts = 5.0, 3
	folder, lines := demoOf(t, o, func(string) {})
	run, err := openRunFolder(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer run.journal.Close()
	of, observations := tolls(run.entries)
	sum, prompts := toll{}, 0
	var table strings.Builder
	row := func(name string, c toll) {
		fmt.Fprintf(&table, "%-18s %7d %5d %12d %9.1f %9.1f %9.1f\n", name, c.prompts, c.keys, c.instructions, c.observed, c.added, c.whole)
	}
	fmt.Fprintf(&table, "\nprocedure %s     prompts  keys instructions  observed  tool-made     whole\n", run.procedure.Name)
	for _, s := range run.procedure.Steps {
		c := of[s.Place()]
		row(fmt.Sprintf("%s %s", s.Sitting, s.ID), c)
		sum = sum.plus(c)
		if s.Check != "wiring" && s.Check != "sign-off" {
			prompts += c.prompts
		}
	}
	row("in all", sum)
	for what, seconds := range observations {
		fmt.Fprintf(&table, "observed: %s, %.1f s\n", what, seconds)
	}
	t.Log(table.String())
	for _, line := range lines {
		if !strings.HasSuffix(line, " passed") {
			t.Errorf("no perfect run: %s", line)
		}
	}
	// A run in which nobody was asked and nothing was observed was not counted.
	if sum.prompts == 0 || sum.instructions == 0 || sum.observed == 0 || sum.whole == 0 {
		t.Errorf("counted %+v; the table is empty", sum)
	}
	if sum.added >= mostAdded {
		t.Errorf("the tool adds %.1f s of waiting, want less than %g s", sum.added, mostAdded)
	}
	if prompts > mostPrompts {
		t.Errorf("%d prompts besides wiring and signature, want %d at most", prompts, mostPrompts)
	}
}
