//go:build linux

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/serialmon/virtual"
)

// everyBoard are the demo's boards that a procedure is tried on.
func everyBoard(procedure string) map[string]demoOptions {
	return map[string]demoOptions{
		"one reader":                 {procedure: procedure},
		"three readers":              {procedure: procedure, readers: 3},
		"three readers, three lists": {procedure: procedure, readers: 3, lists: checklist.ListsReader},
	}
}

// A recheck leaves what the board stores as it was, byte for byte, and does not even
// write it anew.
func TestARecheckLeavesTheBoardsMemoryAsItWas(t *testing.T) {
	for name, o := range everyBoard(checklist.ProcedureRecheck) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newSimBenchFor(t, o)
			before, fileBefore := readImage(t, b.image)
			verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Site})
			if err != nil || verdict != checklist.Passed {
				t.Fatalf("recheck: %s, %v\n%s", verdict, err, b.verdicts())
			}
			after, fileAfter := readImage(t, b.image)
			if !bytes.Equal(before, after) || !os.SameFile(fileBefore, fileAfter) || !fileBefore.ModTime().Equal(fileAfter.ModTime()) {
				t.Errorf("the memory was written: before\n%s\nafter\n%s", before, after)
			}
			if !bytes.Contains(before, []byte(virtual.DefaultTags()["show-3"])) {
				t.Errorf("the memory held no cards that could have been changed:\n%s", before)
			}
		})
	}
}

func readImage(t *testing.T, path string) ([]byte, os.FileInfo) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return data, file
}

// A meddler puts a stranger on the list, by the master, when a step begins.
type meddler struct {
	checklist.Person
	b       *simBench
	run     *conduct
	at      string
	meddled bool
}

func (m *meddler) Instruct(ctx context.Context, in checklist.Instruction) error {
	entries := m.run.log.Entries(0)
	if !m.meddled && entries[len(entries)-1].Step == m.at {
		m.meddled = true
		for _, role := range []string{"master", "stranger", "master"} {
			if err := m.b.hands.Present(role, 0, 0, 700*time.Millisecond); err != nil {
				return err
			}
			if err := m.b.clock.Sleep(ctx, 3*time.Second); err != nil {
				return err
			}
		}
	}
	return m.Person.Instruct(ctx, in)
}

// The recheck's own final check is no formality: it finds a list that was changed
// while it ran, whatever else passed.
func TestARecheckFindsThatItsListWasChanged(t *testing.T) {
	b := newSimBenchFor(t, demoOptions{procedure: checklist.ProcedureRecheck})
	verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Site, person: func(run *conduct, p checklist.Person) checklist.Person {
		return &meddler{Person: p, b: b, run: run, at: "repeat"}
	}})
	if err != nil || verdict != checklist.Failed {
		t.Fatalf("recheck: %s, %v; want failed", verdict, err)
	}
	failed := map[string]string{}
	for _, s := range b.report().Steps {
		for _, f := range s.Findings {
			if f.Verdict == checklist.Failed {
				failed[s.ID+": "+f.What] = f.Value.Text
			}
		}
	}
	if failed["stored: changes told"] != "1" || failed["stored: cards on the list"] != "4, before 3" {
		t.Errorf("failed findings: %v; want one change told, and four cards where there were three", failed)
	}
}

// A recheck of a board that was wiped, and a new board that is enrolled already, each
// say which procedure is due.
func TestTheBoardsContentsSayWhichProcedureIsDue(t *testing.T) {
	for name, tt := range map[string]struct {
		procedure, boards string // as planned, and as the board comes
		sitting           checklist.Sitting
		step, due         string
	}{
		"recheck of a fresh board": {checklist.ProcedureRecheck, checklist.ProcedureNew, checklist.Site, "cards", "--procedure new"},
		"spare with the master":    {checklist.ProcedureSwap, checklist.ProcedureRecheck, checklist.Site, "master", "--procedure recheck"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newSimBenchWith(t, demoOptions{procedure: tt.procedure}, demoEnrolled(demoOptions{procedure: tt.boards}))
			if verdict, err := b.sit(t.Context(), sittingPlan{sitting: tt.sitting}); err != nil || verdict != checklist.Failed {
				t.Fatalf("%s, %v; want failed\n%s", verdict, err, b.verdicts())
			}
			for _, s := range b.report().Steps {
				for _, f := range s.Findings {
					if s.ID == tt.step && f.Verdict == checklist.Failed && strings.Contains(f.Note, tt.due) {
						return
					}
				}
			}
			t.Errorf("no failed finding of step %s names %q:\n%s", tt.step, tt.due, b.verdicts())
		})
	}
}

// The bounds are the project's promise for a swap between two groups. Hands, tags and
// clock are virtual, at the pace of the real ones.
func TestASwapTakesEightPromptsAtMostAndUnderFiveMinutes(t *testing.T) {
	const mostPrompts, most = 8, 5 * time.Minute
	for name, o := range everyBoard(checklist.ProcedureSwap) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newSimBenchFor(t, o)
			began := b.clock.Now()
			verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Site})
			if err != nil || verdict != checklist.Passed {
				t.Fatalf("swap: %s, %v\n%s", verdict, err, b.verdicts())
			}
			took := b.clock.Now().Sub(began)
			prompts := 0
			for _, e := range b.entries() {
				if e.Answer != nil {
					prompts++
				}
			}
			if prompts == 0 || prompts > mostPrompts {
				t.Errorf("%d prompts, want 1 to %d", prompts, mostPrompts)
			}
			if took >= most {
				t.Errorf("it took %v, want less than %v", took, most)
			}
			t.Logf("%d prompts, %v", prompts, took)
			b.wantLists(o)
			page, err := os.ReadFile(filepath.Join(b.dir, report.FileHTML))
			if err != nil || !strings.Contains(string(page), "conditional until <b>2026-03-09</b>") || !strings.Contains(string(page), "<dt>Replaces</dt><dd>rdr-05</dd>") {
				t.Errorf("the page does not show until when the spare may serve, or what it replaces: %v", err)
			}
			m := b.report()
			if !slices.ContainsFunc(m.Limitations, func(l string) bool { return strings.Contains(l, "conditional until 2026-03-09") }) {
				t.Errorf("limitations %q: want one that says until when the spare may serve (a week from 2026-03-02)", m.Limitations)
			}
		})
	}
}

// wantLists compares each of the board's lists with the prop's master and cards, in
// the order of adding.
func (b *simBench) wantLists(o demoOptions) {
	b.t.Helper()
	type list struct {
		Master string   `json:"master"`
		Cards  []string `json:"cards"`
	}
	var image struct {
		list
		More []list `json:"more"`
	}
	data, _ := readImage(b.t, b.image)
	if err := json.Unmarshal(data, &image); err != nil {
		b.t.Fatal(err)
	}
	lists := append([]list{image.list}, image.More...)
	if want := demoBuildLists(o); len(lists) != want {
		b.t.Fatalf("%d lists, want %d", len(lists), want)
	}
	uids := virtual.DefaultTags()
	var cards []string
	for _, role := range demoCards {
		cards = append(cards, uids[role])
	}
	for i, l := range lists {
		if l.Master != uids["master"] || !slices.Equal(l.Cards, cards) {
			b.t.Errorf("list %d: %+v, want the prop's master and its cards %v", i, l, cards)
		}
	}
}

func demoBuildLists(o demoOptions) int {
	if o.lists == checklist.ListsReader {
		return max(o.readers, 1)
	}
	return 1
}

// After a swap the plan has the spare at the prop, with the prop's numbers, and the
// prop is due for the whole procedure; after that for a recheck.
func TestASwapMovesThePlanAndTheNextProcedureIsProposed(t *testing.T) {
	dir := t.TempDir()
	say := func(want int, args ...string) string {
		t.Helper()
		var out bytes.Buffer
		if status := run(t.Context(), args, strings.NewReader(""), &out, &out); status != want {
			t.Fatalf("%v: status %d, want %d\n%s", args, status, want, &out)
		}
		return out.String()
	}
	say(statusDone, "demo", "--procedure", "swap", "--dir", dir)
	site := dir + "/site"
	var things struct {
		Boards []struct{ Name, IP string }
		Props  []struct{ Name, Board string }
	}
	if err := json.Unmarshal([]byte(say(statusDone, "plan", "list", "--json", "--site", site)), &things); err != nil {
		t.Fatal(err)
	}
	at := map[string]string{}
	for _, p := range things.Props {
		at[p.Name] = p.Board
	}
	ip := map[string]string{}
	for _, b := range things.Boards {
		ip[b.Name] = b.IP
	}
	if at[demoProp] != "rdr-07" || !strings.HasPrefix(ip["rdr-07"], "10.77.0.57") || ip["rdr-05"] != "" {
		t.Errorf("boards at props %v, addresses %v; want rdr-07 at %s with the old board's 10.77.0.57", at, ip, demoProp)
	}
	if said := say(statusDone, "service", "list", demoProp, "--site", site); !strings.Contains(said, "board rdr-05 out, rdr-07 in: registers no tags since a fall (report 1)") {
		t.Errorf("the service log does not tell of the swap:\n%s", said)
	}
	if said := say(statusVerdict, "commission", demoProp, "--site", site, "--answers", writeAnswers(t, checklist.ProcedureNew)); !strings.Contains(said, "procedure new: report 1 put board rdr-07 in on a short proof only") {
		t.Errorf("no proposal of procedure new:\n%s", said)
	}

	dir = t.TempDir()
	say(statusDone, "demo", "--dir", dir)
	site = dir + "/site"
	if said := say(statusVerdict, "commission", demoProp, "--site", site, "--answers", writeAnswers(t, checklist.ProcedureRecheck)); !strings.Contains(said, "procedure recheck: board rdr-07 passed in report 1") {
		t.Errorf("no proposal of procedure recheck:\n%s", said)
	}
	if said := say(statusUsage, "commission", demoProp, "--site", site, "--procedure", "swap"); !strings.Contains(said, "no board that is at no prop") {
		t.Errorf("a swap without a spare:\n%s", said)
	}
}

// writeAnswers writes what the demo's technician says to a procedure's questions.
func writeAnswers(t *testing.T, procedure string) string {
	t.Helper()
	p, err := checklist.BuiltinProcedure(procedure)
	if err != nil {
		t.Fatal(err)
	}
	file := fmt.Sprintf("%s/answers.toml", t.TempDir())
	if err := os.WriteFile(file, []byte(demoAnswersTo(p)), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}
