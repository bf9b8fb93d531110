//go:build linux

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/checklist/report"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

// A simBench is the demo's site and a virtual board on a real pseudo-terminal that
// outlive the processes which commission it: each sitting wires a conduct of its own
// and lets it go. Time is simulated throughout.
type simBench struct {
	t       *testing.T
	demo    demoOptions
	site    *sitePlan
	item    checklist.Item
	clock   *clock.Sim
	board   *virtual.Board
	line    *virtual.PtyLine
	hands   *virtual.Hands
	listen  string
	silent  atomic.Bool // the stand-in leaves requests without an answer
	dir     string      // of the run
	image   string
	wording []*parsers.Profile
}

// newSimBench is a simBench for a fresh board of one reader.
func newSimBench(t *testing.T) *simBench {
	t.Helper()
	return newSimBenchFor(t, demoOptions{})
}

// newSimBenchFor is a simBench for one of the demo's boards, whose memory is the file
// image below the test's folder.
func newSimBenchFor(t *testing.T, o demoOptions) *simBench {
	t.Helper()
	return newSimBenchWith(t, o, demoEnrolled(o))
}

// newSimBenchWith is newSimBenchFor with other tags on the board's lists.
func newSimBenchWith(t *testing.T, o demoOptions, enrolled []string) *simBench {
	t.Helper()
	o.procedure = firstOf(o.procedure, checklist.ProcedureNew)
	dir := t.TempDir()
	b := &simBench{t: t, demo: o, image: filepath.Join(dir, "image"), clock: clock.Simulated(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)), listen: freeAddress(t)}
	site, err := makeDemoSite(t.Context(), testDeps(), filepath.Join(dir, "site"), "test key", o)
	if err != nil {
		t.Fatal(err)
	}
	b.site = site
	t.Cleanup(func() { site.Close() })
	if b.item, err = itemFor(t.Context(), site, commissionOptions{prop: demoProp, procedure: o.procedure}); err != nil {
		t.Fatal(err)
	}
	if b.wording, err = parsers.Auto(); err != nil {
		t.Fatal(err)
	}
	if b.board, err = virtual.New(virtual.Config{
		Clock: b.clock, Seed: 1, Build: demoBuild(o), Enrolled: enrolled, Image: b.image, Controller: b.listen, LockStep: true, CountFrames: true, Silent: b.silent.Load,
	}); err != nil {
		t.Fatal(err)
	}
	if b.line, err = virtual.NewPtyLine(filepath.Join(dir, "port")); err != nil {
		t.Fatal(err)
	}
	if err := b.board.Connect(b.line); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.board.Close() })
	b.hands = virtual.NewHands(b.board, b.clock)
	return b
}

// do does something at the board.
func (b *simBench) do(r virtual.Request) {
	b.t.Helper()
	if _, err := b.board.Do(r); err != nil {
		b.t.Fatalf("%s: %v", r.Op, err)
	}
}

// A sittingPlan is one process's part in a run.
type sittingPlan struct {
	sitting  checklist.Sitting
	person   func(*conduct, checklist.Person) checklist.Person // stands before the virtual hands; nil for them alone
	commands <-chan checklist.Command
	changed  []string
	only     []string          // ids of the steps to walk; all where there are none
	said     *checklist.Answer // to what changed
	signer   string
	key      string // file of the signer's own key; "" for the site's
}

// sit takes the run up, or begins it, and goes on until ctx or the sitting ends.
func (b *simBench) sit(ctx context.Context, plan sittingPlan) (checklist.Verdict, error) {
	b.t.Helper()
	folder := b.folder()
	run, err := newConduct(b.t.Context(), folder, cast{
		clock: b.clock, item: b.item, virtual: true, wording: b.wording, commands: plan.commands, changed: plan.changed, said: plan.said,
		listen: &link.Config{Addr: b.listen, Base: b.item.Controller.Base, Clock: b.clock, CountFrames: true, Muted: &b.silent},
	})
	if err != nil {
		b.t.Fatal(err)
	}
	run.join(portPlan{options: serialmon.Options{
		Open: b.line.Opener(serialmon.OpenSerial), Name: b.line.Path(), Speed: b.item.Board.Speed, Notice: b.board.Noticed,
	}})
	answers, err := readAnswers("answers", strings.NewReader(demoAnswersTo(folder.procedure)), folder.procedure)
	if err != nil {
		b.t.Fatal(err)
	}
	hands := &virtualHands{hands: b.hands, next: answersFile{name: "answers", answers: answers, next: onlooker{}}, pulled: run.board.awaitLost}
	run.engine.Person = hands
	if len(plan.only) > 0 {
		run.engine.Only = func(s checklist.Step) bool { return slices.Contains(plan.only, s.ID) }
	}
	if plan.person != nil {
		run.engine.Person = plan.person(run, hands)
	}
	signing, err := signingOf(b.site.Folder, testDeps(), firstOf(plan.signer, "Ada Bench"), "technician", plan.key)
	if err != nil {
		b.t.Fatal(err)
	}
	signing.issued = b.clock.Now
	verdict, err := run.sit(ctx, plan.sitting, signing)
	return verdict, errors.Join(err, b.part(run))
}

// part lets a conduct go: the port at once, and the stand-in once the board has
// ended its connection too, so that nothing which would have been counted off stays
// under way on the clock.
func (b *simBench) part(run *conduct) error {
	b.t.Helper()
	return partFrom(b.t, run, b.board)
}

func partFrom(t *testing.T, run *conduct, board *virtual.Board) error {
	t.Helper()
	settle(t.Context(), run.clock)
	err := errors.Join(run.board.Detach(), run.standIn.Pause())
	if noticed := board.Noticed(t.Context()); noticed != nil {
		t.Fatal(noticed)
	}
	if err := run.clock.Sleep(t.Context(), 3*time.Second); err != nil {
		t.Fatal(err)
	}
	return errors.Join(err, run.Close())
}

// folder opens the run's folder, or makes it.
func (b *simBench) folder() *runFolder {
	b.t.Helper()
	var folder *runFolder
	var err error
	if b.dir != "" {
		folder, err = openRunFolder(b.dir)
	} else {
		var p checklist.Procedure
		if p, err = loadProcedure(b.site.Folder, b.demo.procedure); err == nil {
			folder, err = newRunFolder(b.site.Reports(), demoProp, p)
		}
	}
	if err != nil {
		b.t.Fatal(err)
	}
	b.dir = folder.dir
	return folder
}

// entries is the run's journal.
func (b *simBench) entries() []checklist.Entry {
	b.t.Helper()
	folder := b.folder()
	defer folder.journal.Close()
	return folder.entries
}

// decided counts the verdicts of each step.
func (b *simBench) decided() map[string]int {
	b.t.Helper()
	decided := map[string]int{}
	for _, e := range b.entries() {
		if e.Outcome != nil {
			decided[e.Step]++
		}
	}
	return decided
}

// report is the signed report as it stands.
func (b *simBench) report() report.Model {
	b.t.Helper()
	text, err := os.ReadFile(filepath.Join(b.dir, report.FileReport))
	if err != nil {
		b.t.Fatal(err)
	}
	var m report.Model
	if err := json.Unmarshal(text, &m); err != nil {
		b.t.Fatal(err)
	}
	return m
}

// verdicts lists the report's steps and findings with their verdicts.
func (b *simBench) verdicts() string {
	b.t.Helper()
	var text strings.Builder
	for _, s := range b.report().Steps {
		fmt.Fprintf(&text, "%s %s %s\n", s.Sitting, s.ID, s.Verdict)
		for _, f := range s.Findings {
			fmt.Fprintf(&text, "  %s %s\n", f.What, f.Verdict)
		}
	}
	return text.String()
}
