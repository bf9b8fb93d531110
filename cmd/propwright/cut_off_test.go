//go:build linux

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/serialmon"
	"propwright/serialmon/virtual"
)

// A cut is a way for a run to be broken off while somebody is asked for something.
type cut string

const (
	cutInterrupt cut = "Ctrl-C"          // the context ends, as it does for SIGINT, SIGTERM and SIGHUP
	cutTerminal  cut = "closed terminal" // the input is at its end
	cutPort      cut = "lost port"       // USB is out, and stays out
)

// figures are what tells one presentation of a series from the next.
var figures = regexp.MustCompile(`[0-9.]+`)

// promptOf names a prompt: presentations that differ by a figure only are one.
func promptOf(in *checklist.Instruction, q *checklist.Question) string {
	if q != nil {
		return "ask " + q.Key
	}
	return figures.ReplaceAllString(fmt.Sprintf("%s %s %s", in.Act, in.Role, in.Text), "#")
}

// A place to cut at: the prompt of that name when it comes for the nth time.
type cutAt struct {
	name string
	nth  int
}

// promptsOf lists the different prompts of each step in the order in which they
// came, and how often each came; a note wants nothing.
func promptsOf(entries []checklist.Entry) map[checklist.Place][]cutAt {
	prompts := map[checklist.Place][]cutAt{}
	for _, e := range entries {
		var name string
		switch {
		case e.Answer != nil:
			name = promptOf(nil, &e.Answer.Question)
		case e.Instruct != nil && e.Instruct.Act != checklist.ActNote:
			name = promptOf(e.Instruct, nil)
		default:
			continue
		}
		here := checklist.Place{Sitting: e.Sitting, Step: e.Step}
		i := slices.IndexFunc(prompts[here], func(p cutAt) bool { return p.name == name })
		if i < 0 {
			i = len(prompts[here])
			prompts[here] = append(prompts[here], cutAt{name: name})
		}
		prompts[here][i].nth++
	}
	return prompts
}

// rounds are the cuts of one run each, one a step: at the first of each prompt, and
// at the middle one of those that come in a series.
func rounds(prompts map[checklist.Place][]cutAt) (all []map[checklist.Place]cutAt, cuts int) {
	for place, of := range prompts {
		var wanted []cutAt
		for _, p := range of {
			wanted = append(wanted, cutAt{p.name, 1})
			if p.nth > 2 {
				wanted = append(wanted, cutAt{p.name, (p.nth + 1) / 2})
			}
		}
		for i, w := range wanted {
			if i == len(all) {
				all = append(all, map[checklist.Place]cutAt{})
			}
			all[i][place] = w
		}
		cuts += len(wanted)
	}
	return all, cuts
}

// A cutter stands before the hands and breaks the run off at one prompt of each step.
type cutter struct {
	checklist.Person
	run   *conduct
	b     *simBench
	how   cut
	at    map[checklist.Place]cutAt // still to be cut at
	leave context.CancelFunc        // Ctrl-C
	typed io.Closer                 // the terminal's input
	cuts  int
}

// here cuts where it is due.
func (c *cutter) here(ctx context.Context, name string) (done bool) {
	entries := c.run.log.Entries(0)
	last := entries[len(entries)-1]
	place := checklist.Place{Sitting: last.Sitting, Step: last.Step}
	at, due := c.at[place]
	if !due || at.name != name {
		return false
	}
	if at.nth--; at.nth > 0 {
		c.at[place] = at
		return false
	}
	if c.how == cutPort && c.run.log.Belief().Attached != checklist.Yes {
		delete(c.at, place)
		return false // there is no port to lose
	}
	delete(c.at, place)
	c.cuts++
	switch c.how {
	case cutInterrupt:
		c.leave()
	case cutTerminal:
		c.typed.Close()
		<-ctx.Done() // what reads the terminal is not on the clock
	case cutPort:
		out := false
		c.b.do(virtual.Request{Op: virtual.OpUSB, In: &out})
		if err := c.run.board.awaitLost(ctx); err != nil {
			c.b.t.Error(err)
		}
	}
	return c.how != cutPort
}

func (c *cutter) Instruct(ctx context.Context, in checklist.Instruction) error {
	if c.here(ctx, promptOf(&in, nil)) {
		return nil // shown, and nobody moves
	}
	return c.Person.Instruct(ctx, in)
}

func (c *cutter) Ask(ctx context.Context, q checklist.Question) (checklist.Answer, error) {
	if c.here(ctx, promptOf(nil, &q)) {
		return checklist.Answer{}, context.Cause(ctx)
	}
	return c.Person.Ask(ctx, q)
}

// Hear does nothing.
func (c *cutter) Hear(checklist.Signal) {}

// stopped reports whether an error is how that cut ends a run.
func (c cut) stopped(err error) bool {
	switch c {
	case cutInterrupt:
		return errors.Is(err, context.Canceled)
	case cutTerminal:
		return errors.Is(err, checklist.ErrPersonGone)
	}
	_, open := errors.AsType[*serialmon.OpenError](err)
	return errors.Is(err, checklist.ErrPortLost) || errors.Is(err, serialmon.ErrLost) || open
}

// throughCuts commissions both sittings, each time broken off at the prompts named,
// and taken up again; it returns how often it was broken off.
func (b *simBench) throughCuts(how cut, at map[checklist.Place]cutAt) (cuts int) {
	b.t.Helper()
	const mostSittings = 60
	in := true
	for _, sitting := range []checklist.Sitting{checklist.Bench, checklist.Site} {
		for n := 0; ; n++ {
			if n == mostSittings {
				b.t.Fatalf("%s sitting: not done after %d processes", sitting, n)
			}
			ctx, leave := context.WithCancel(b.t.Context())
			input, typed := io.Pipe()
			terminal := newTerminalPerson(io.Discard, false, silence{}, "Ada Bench")
			var reading sync.WaitGroup
			reading.Go(func() { terminal.read(ctx, input) })
			var c *cutter
			_, err := b.sit(ctx, sittingPlan{sitting: sitting, commands: terminal.commands, person: func(run *conduct, next checklist.Person) checklist.Person {
				c = &cutter{Person: next, run: run, b: b, how: how, at: at, leave: leave, typed: typed}
				return c
			}})
			leave()
			typed.Close()
			reading.Wait()
			cuts += c.cuts
			if how == cutPort && c.cuts > 0 {
				b.do(virtual.Request{Op: virtual.OpUSB, In: &in})
			}
			if err == nil {
				break
			}
			if c.cuts == 0 || !how.stopped(err) {
				b.t.Fatalf("%s sitting, %d cuts by %s: %v", sitting, c.cuts, how, err)
			}
		}
	}
	return cuts
}

// Every different prompt of a perfect run, cut there in each of three ways, and gone
// on with: the verdicts are those of the run that nobody disturbed, no step that was
// decided is begun again, and the report verifies. Prompts that differ by a figure
// only, as in a series of presentations, count as one and are cut at the first and at
// the middle one.
func TestARunCutOffAtAnyPromptGoesOnToTheSameVerdicts(t *testing.T) {
	if testing.Short() {
		t.Skip("takes most of a minute")
	}
	whole := newSimBench(t)
	for _, sitting := range []checklist.Sitting{checklist.Bench, checklist.Site} {
		if verdict, err := whole.sit(t.Context(), sittingPlan{sitting: sitting}); err != nil || verdict != checklist.Passed {
			t.Fatalf("undisturbed %s sitting: %s, %v", sitting, verdict, err)
		}
	}
	want := strings.Split(whole.verdicts(), "\n")
	prompts := promptsOf(whole.entries())
	for _, step := range whole.report().Steps {
		quiet := []string{"attach", "settings"} // which ask for nothing
		if len(prompts[checklist.Place{Sitting: step.Sitting, Step: step.ID}]) == 0 && !slices.Contains(quiet, step.ID) {
			t.Errorf("step %s %s has no prompt to cut at", step.Sitting, step.ID)
		}
	}
	planned, different := rounds(prompts)
	var mu sync.Mutex
	cuts := map[cut]int{}
	t.Run("cut", func(t *testing.T) {
		for _, how := range []cut{cutInterrupt, cutTerminal, cutPort} {
			for round, at := range planned {
				at := maps.Clone(at)
				t.Run(fmt.Sprintf("%s %d", how, round+1), func(t *testing.T) {
					t.Parallel()
					b := newSimBench(t)
					n := b.throughCuts(how, at)
					mu.Lock()
					cuts[how] += n
					mu.Unlock()
					if diff := cmp.Diff(want, strings.Split(b.verdicts(), "\n")); diff != "" {
						t.Errorf("verdicts (-undisturbed +cut off):\n%s", diff)
					}
					decidedOnce(t, b.entries())
					if len(at) > 0 {
						t.Errorf("never came to %v", at)
					}
					if status, said := verifyStatus(t, b.dir); status != statusDone {
						t.Errorf("verify: status %d\n%s", status, said)
					}
				})
			}
		}
	})
	t.Logf("%d prompts to cut at; cut off %v", different, cuts)
	// Some prompts come while no port is open, as in wiring and in service.
	if cuts[cutInterrupt] != different || cuts[cutTerminal] != different || cuts[cutPort] < different/2 {
		t.Errorf("cut off %v of %d prompts; want each by Ctrl-C and by a closed terminal, and at least half by a lost port", cuts, different)
	}
}

// decidedOnce checks that nothing decided was begun again.
func decidedOnce(t *testing.T, entries []checklist.Entry) {
	t.Helper()
	decided := map[checklist.Place]bool{}
	for _, e := range entries {
		place := checklist.Place{Sitting: e.Sitting, Step: e.Step, Reader: e.Reader}
		switch {
		case e.Outcome != nil:
			decided[place] = true
		case e.Type == checklist.EntryBegin && decided[place]:
			t.Errorf("entry %d: %v was decided and is begun again", e.N, place)
		}
	}
}
