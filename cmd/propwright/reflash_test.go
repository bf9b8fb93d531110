//go:build linux

package main

import (
	"context"
	"maps"
	"slices"
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/serialmon/virtual"
)

// A flasher says reflash once, at the first presentation of a step, and flashes the
// board when the port is free: it pulls USB too, so that the port comes back as
// another pseudo-terminal under the same link.
type flasher struct {
	checklist.Person
	b        *simBench
	run      *conduct
	commands chan<- checklist.Command
	at       string
	flash    virtual.Request
	said     bool
	asked    []string
}

func (f *flasher) Instruct(ctx context.Context, in checklist.Instruction) error {
	entries := f.run.log.Entries(0)
	if !f.said && in.Act == checklist.ActPresent && entries[len(entries)-1].Step == f.at {
		f.said = true
		f.commands <- checklist.Command{Verb: checklist.CommandReflash}
		<-ctx.Done()
		return context.Cause(ctx)
	}
	return f.Person.Instruct(ctx, in)
}

func (f *flasher) Ask(ctx context.Context, q checklist.Question) (checklist.Answer, error) {
	f.asked = append(f.asked, q.Key)
	if q.Key != "flashed" {
		return f.Person.Ask(ctx, q)
	}
	if err := f.b.board.Noticed(ctx); err != nil {
		return checklist.Answer{}, err
	}
	in := true
	out := !in
	f.b.do(f.flash)
	f.b.do(virtual.Request{Op: virtual.OpUSB, In: &out})
	f.b.do(virtual.Request{Op: virtual.OpUSB, In: &in})
	return checklist.Answer{Text: "yes", By: "flasher"}, nil
}

// What runs again is the architecture's table: build settings take settings, lights,
// removal and link; the lists are master, programming, cards and clean-up.
func TestAReflashInTheMiddleOfASitting(t *testing.T) {
	for name, tt := range map[string]struct {
		wipe    bool
		change  map[string]string
		again   string // decided before the flash, and after it once more
		verdict checklist.Verdict
	}{
		"lists kept":       {again: "lights removal settings", verdict: checklist.Passed},
		"lists wiped":      {wipe: true, again: "cards lights master programming removal settings", verdict: checklist.Passed},
		"another coil too": {change: map[string]string{"coil": "118"}, again: "lights removal settings", verdict: checklist.Failed},
	} {
		t.Run(name, func(t *testing.T) {
			b := newSimBench(t)
			commands := make(chan checklist.Command)
			var f *flasher
			verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Bench, commands: commands, person: func(run *conduct, next checklist.Person) checklist.Person {
				f = &flasher{Person: next, b: b, run: run, commands: commands, at: "range",
					flash: virtual.Request{Op: virtual.OpReflash, Firmware: "3.3.0-dock", Wipe: tt.wipe, Settings: tt.change}}
				return f
			}})
			if err != nil {
				t.Fatal(err)
			}
			decided := b.decided()
			again := slices.Sorted(maps.Keys(decided))
			again = slices.DeleteFunc(again, func(id string) bool { return decided[id] < 2 })
			if got := strings.Join(again, " "); got != tt.again || verdict != tt.verdict {
				t.Errorf("%s; decided again: %s; want %s and %s\n%s", verdict, got, tt.verdict, tt.again, b.verdicts())
			}
			// The virtual board's start tells of master and cards, so nobody is asked.
			if !slices.Contains(f.asked, "flashed") || slices.Contains(f.asked, "lists-kept") {
				t.Errorf("asked %v; want whether it is flashed, and not what became of the lists", f.asked)
			}
			m := b.report()
			if m.Board.Firmware != "larkspur 3.3.0-dock" {
				t.Errorf("firmware in the report %q, want the new one", m.Board.Firmware)
			}
			fate := map[bool]string{false: "master and cards were kept (its start says so)", true: "master and cards were not kept (its start says so)"}[tt.wipe]
			if !slices.ContainsFunc(m.Notes, func(n report.Note) bool {
				return strings.Contains(n.Text, fate) && strings.Contains(n.Text, "before it firmware larkspur 3.2.0")
			}) {
				t.Errorf("the report's notes do not say %q: %+v", fate, m.Notes)
			}
			for _, s := range m.Steps {
				if decided[s.ID] == 2 && (len(s.Earlier) != 1 || !strings.HasPrefix(s.Earlier[0].Why, "changed since: ")) {
					t.Errorf("step %s: earlier verdicts %+v; want one, with what changed", s.ID, s.Earlier)
				}
			}
			if status, said := verifyStatus(t, b.dir); status != statusDone {
				t.Errorf("verify: status %d\n%s", status, said)
			}
		})
	}
}
