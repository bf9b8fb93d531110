//go:build linux

package main

import (
	"bytes"
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/checklisttest"
	"propwright/checklist/diagnose"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

// A scriptRig is a virtual board at a real pseudo-terminal, on a simulated clock, and a
// talk with its port open. do is what hands do when they are told so.
type scriptRig struct {
	*talk
	board *virtual.Board
	said  bytes.Buffer
}

func newScriptRig(t *testing.T, fault string, do func(board *virtual.Board, said string)) *scriptRig {
	t.Helper()
	k, err := diagnose.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	clk := clock.Simulated(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC))
	r := &scriptRig{}
	if r.board, err = virtual.New(virtual.Config{
		Clock: clk, Seed: 3, Fault: fault, Enrolled: []string{"master", "show", "show-2"}, LockStep: true,
	}); err != nil {
		t.Fatal(err)
	}
	line, err := virtual.NewPtyLine(filepath.Join(t.TempDir(), "port"))
	if err != nil {
		t.Fatal(err)
	}
	if err := r.board.Connect(line); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.board.Close() })
	d := testDeps()
	d.err = writerFunc(func(p []byte) (int, error) {
		do(r.board, string(p))
		return r.said.Write(p)
	})
	c := &diagnosis{k: k, situation: diagnose.Situation{Done: map[int]bool{}}, o: diagnoseOptions{
		port: line.Path(), speed: "115200", seconds: 5 * time.Second, site: t.TempDir(),
		at: serialmon.Options{Open: line.Opener(serialmon.OpenSerial), Notice: r.board.Noticed, Clock: clk},
	}}
	r.talk = newTalk(c, d)
	r.put = func(_ context.Context, question string) (string, bool) {
		r.say("?? %s", question)
		return "", true
	}
	r.file = toldFile(c.o.site, "")
	if err := c.listen(context.WithoutCancel(t.Context()), d); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.letGo(); err != nil {
			t.Error(err)
		}
	})
	return r
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

// request is what hands do at a virtual board.
func request(t *testing.T, b *virtual.Board, r virtual.Request) {
	t.Helper()
	if _, err := b.Do(r); err != nil {
		t.Errorf("%s: %v", r.Op, err)
	}
}

// run makes the script of a test and returns what it was taken for.
func (r *scriptRig) run(t *testing.T, test string) []string {
	t.Helper()
	made, done, err := r.script(t.Context(), r.k.Test(test))
	if err != nil || !made || done {
		t.Fatalf("%s: made %v, done %v, %v\n%s", test, made, done, err, &r.said)
	}
	return r.heard[len(r.heard)-1].As
}

// Each script over a board whose fault it is for, and one that is healthy: what it finds
// is what the fault does (serialmon/virtual), and nothing is found where nothing is wrong.
func TestScriptsOverAVirtualBoard(t *testing.T) {
	on := true
	present := func(role string) func(*testing.T) func(*virtual.Board, string) {
		return func(t *testing.T) func(*virtual.Board, string) {
			return func(b *virtual.Board, said string) {
				switch {
				case strings.Contains(said, "tag on"), strings.Contains(said, "leave it there"):
					request(t, b, virtual.Request{Op: virtual.OpPlace, Role: role, SpacingMM: 6})
				case strings.Contains(said, "   off"):
					request(t, b, virtual.Request{Op: virtual.OpTake})
				}
			}
		}
	}
	flex := func(t *testing.T) func(*virtual.Board, string) {
		return func(b *virtual.Board, said string) {
			if strings.Contains(said, "Move the reader's header") {
				request(t, b, virtual.Request{Op: virtual.OpFlex, On: &on})
			}
		}
	}
	// A load that kicks the board over, and a known good tag in place of one that is not read.
	kicks := func(t *testing.T) func(*virtual.Board, string) {
		return func(b *virtual.Board, said string) {
			if strings.Contains(said, "load on, tag on") {
				request(t, b, virtual.Request{Op: virtual.OpReset})
			}
			present("show")(t)(b, said)
		}
	}
	better := func(t *testing.T) func(*virtual.Board, string) {
		spacing := 300.0
		return func(b *virtual.Board, said string) {
			switch {
			case strings.Contains(said, "take the known good tag"):
				spacing = 6
			case strings.Contains(said, "tag on"):
				request(t, b, virtual.Request{Op: virtual.OpPlace, Role: "show", SpacingMM: spacing})
			case strings.Contains(said, "   off"):
				request(t, b, virtual.Request{Op: virtual.OpTake})
			}
		}
	}
	still := func(*testing.T) func(*virtual.Board, string) { return func(*virtual.Board, string) {} }
	for name, tt := range map[string]struct {
		fault, test string
		hands       func(*testing.T) func(*virtual.Board, string)
		want        []string
		words       string
	}{
		"ten resets, a joint":         {"loose-joint", "version-ten", still, []string{"version=several"}, "10 restarts"},
		"ten resets, no chip":         {"reader-zero", "version-ten", still, []string{"version=zero"}, "0x00 10 times"},
		"ten resets, healthy":         {"", "version-ten", still, []string{"version=genuine"}, "0x92 10 times"},
		"flex, a joint":               {"loose-joint", "flex", flex, []string{"header-pressed=cured"}, "30 and 30 reads"},
		"flex, no chip":               {"reader-zero", "flex", flex, []string{"header-pressed=no-change"}, "moving it changes nothing"},
		"flex, healthy":               {"", "flex", flex, []string{"header-pressed=no-change"}, "moving it changes nothing"},
		"presence, flicker":           {"flicker", "count-presence", present("show"), []string{"rest=irregular"}, "lying still for 60 s"},
		"presence, healthy":           {"", "count-presence", present("show"), []string{"rest=steady"}, "go 0 times"},
		"presence, no chip":           {"reader-zero", "count-presence", present("show"), []string{"tags-read=none"}, "not read at all"},
		"soak, supply collapses":      {"brown-out", "count-starts", still, []string{"starts=brown-out"}, "untouched for 120 s"},
		"soak, healthy":               {"", "count-starts", still, []string{"starts=called-for"}, "fewer than 1.5 starts a minute"},
		"load, healthy":               {"", "when", present("show"), []string{"nothing told apart"}, "nothing went wrong"},
		"load, fails either way":      {"reader-zero", "when", present("show"), []string{"at-switching=any"}, "no worse with the load"},
		"load, kicks the board":       {"", "when", kicks, []string{"at-switching=at-load", "starts=at-load"}, "it goes wrong with the load"},
		"swap of a tag, cured":        {"", "other-tag", better, []string{"spare-tag=cured"}, "the swap cures it"},
		"swap of a tag, healthy":      {"", "other-tag", present("show"), []string{"nothing told apart"}, "nothing failed before"},
		"swap of a tag, not the tag":  {"reader-zero", "other-tag", present("show"), []string{"spare-tag=no-change"}, "read 0 of 10 before, 0 of 10 after"},
		"swap of a module, not cured": {"loose-joint", "swap-module", still, []string{"other-module=no-change"}, "not read: 0 before"},
	} {
		t.Run(name, func(t *testing.T) {
			r := newScriptRig(t, tt.fault, tt.hands(t))
			if tt.test == "swap-module" {
				if err := r.keep(told{Answer: "version-ten=several"}); err != nil {
					t.Fatal(err)
				}
			}
			got := r.run(t, tt.test)
			if !slices.Equal(got, tt.want) || !strings.Contains(r.made.Tests[len(r.made.Tests)-1].Answer, tt.words) && tt.test != "swap-module" {
				t.Errorf("taken as %v: %s; want %v and %q", got, r.made.Tests[len(r.made.Tests)-1].Answer, tt.want, tt.words)
			}
			kept, err := cutOff(r.file, "")
			if err != nil || len(kept) == 0 || len(kept[len(kept)-1].Figures) == 0 || kept[len(kept)-1].Words == "" {
				t.Errorf("on disk %+v, %v; want the script's figures and words", kept, err)
			}
		})
	}
}

// In a run the script counts over the run's own port, and what it heard is in the run's log.
func TestScriptInARun(t *testing.T) {
	b := newSimBench(t)
	run, err := newConduct(t.Context(), b.folder(), cast{clock: b.clock, item: b.item, virtual: true, wording: b.wording})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := run.Close(); err != nil {
			t.Error(err)
		}
	}()
	run.join(portPlan{options: serialmon.Options{
		Open: b.line.Opener(serialmon.OpenSerial), Name: b.line.Path(), Speed: b.item.Board.Speed, Notice: b.board.Noticed,
	}})
	if err := run.board.Attach(t.Context()); err != nil {
		t.Fatal(err)
	}
	k, err := diagnose.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	d := testDeps()
	d.err = &said
	r := newTalk(&diagnosis{k: k, bench: run.atBench(), situation: diagnose.Situation{Done: map[int]bool{}}}, d)
	r.put = func(context.Context, string) (string, bool) { return "", true }
	before := len(run.log.Entries(0))
	made, done, err := r.script(t.Context(), k.Test("version-ten"))
	if err != nil || !made || done {
		t.Fatalf("made %v, done %v, %v\n%s", made, done, err, &said)
	}
	if got := r.heard[0].As; !slices.Equal(got, []string{"version=genuine"}) || !strings.Contains(r.made.Tests[0].Answer, "0x92 10 times") {
		t.Errorf("taken as %v: %+v", got, r.made.Tests)
	}
	versions := 0
	for _, e := range run.log.Entries(0)[before:] {
		if e.Event != nil && e.Event.Kind == parsers.KindReaderVersion {
			versions++
		}
	}
	if versions != 10 {
		t.Errorf("the run's log holds %d versions of the script's starts, want 10", versions)
	}
}

// Without its port a script says so and the test is asked for instead; so it is where
// somebody would rather answer.
func TestScriptWithoutItsPort(t *testing.T) {
	k, err := diagnose.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		line, want string
		bench      *bench
	}{
		"no port":       {"", "", nil},
		"port away":     {"", "The port is away", (&conduct{clock: clock.Real(), board: &portBoard{}, log: checklist.NewLog(clock.Real(), &checklisttest.Keeper{}, nil)}).atBench()},
		"by hand":       {"n", "", (&conduct{clock: clock.Real(), board: &portBoard{}, log: checklist.NewLog(clock.Real(), &checklisttest.Keeper{}, nil)}).atBench()},
		"a bare record": {"", "", (&conduct{}).atBench()},
	} {
		t.Run(name, func(t *testing.T) {
			var said bytes.Buffer
			d := testDeps()
			d.err = &said
			r := newTalk(&diagnosis{k: k, bench: tt.bench, situation: diagnose.Situation{Done: map[int]bool{}}}, d)
			r.put = func(context.Context, string) (string, bool) { return tt.line, true }
			made, done, err := r.script(t.Context(), k.Test("flex"))
			if made || done || err != nil || len(r.heard) != 0 || !strings.Contains(said.String(), tt.want) {
				t.Errorf("made %v, done %v, %v; heard %v; said:\n%s", made, done, err, r.heard, &said)
			}
		})
	}
}
