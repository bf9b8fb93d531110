package diagnose_test

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"propwright/checklist/diagnose"
	"propwright/parsers"
)

var wordings = sync.OnceValues(parsers.Auto)

// A labelled case, as testdata/cases/labels.csv has it.
type labelled struct {
	id, kind string
	accepted []string
	answers  []string
}

func labels(t testing.TB) []labelled {
	t.Helper()
	return labelsIn(t, "cases")
}

func labelsIn(t testing.TB, folder string) []labelled {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", folder, "labels.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []labelled
	for _, row := range rows[1:] {
		out = append(out, labelled{row[0], row[1], strings.Split(row[2], ";"), strings.Split(row[4], ";")})
	}
	return out
}

func knowledge(t testing.TB, o diagnose.LoadOptions) *diagnose.Knowledge {
	t.Helper()
	k, err := diagnose.Load(o)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// ask gives a case's text and answers to the knowledge.
func ask(t testing.TB, k *diagnose.Knowledge, file string, answers []string) *diagnose.Result {
	t.Helper()
	profiles, err := wordings()
	if err != nil {
		t.Fatal(err)
	}
	var all [][]diagnose.Evidence
	var unheard []string
	if file != "" {
		f, err := os.Open(filepath.Join("testdata", "cases", file))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		r, err := k.ReadText(f, profiles...)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, r.Evidence())
	}
	for _, text := range answers {
		a, err := k.Answer(text)
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Evidence) == 0 {
			unheard = append(unheard, text)
		}
		all = append(all, a.Evidence)
	}
	res, _, err := k.Diagnose(diagnose.Merge(all...), unheard, diagnose.Situation{})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// place is where the first accepted cause stands, from 1; 0 for nowhere.
func place(res *diagnose.Result, accepted []string) int {
	for i, c := range res.Causes {
		if slices.Contains(accepted, c.ID) {
			return i + 1
		}
	}
	return 0
}

func top(res *diagnose.Result, n int) string {
	var out []string
	for _, c := range res.Causes[:min(n, len(res.Causes))] {
		out = append(out, fmt.Sprintf("%s %.2f", c.ID, c.Probability))
	}
	return strings.Join(out, ", ")
}

// tally counts cases by where an accepted cause stands.
type tally struct {
	n, first, three int
	misses          []string
}

func (c *tally) add(id string, res *diagnose.Result, accepted []string) {
	at := place(res, accepted)
	c.n++
	if at == 1 {
		c.first++
	} else {
		c.misses = append(c.misses, fmt.Sprintf("%s: %v at %d; %s", id, accepted, at, top(res, 3)))
	}
	if at >= 1 && at <= 3 {
		c.three++
	}
}

func (c *tally) hold(t *testing.T, name string, first, three float64) {
	t.Helper()
	t.Logf("%s: first %d, first three %d, of %d", name, c.first, c.three, c.n)
	for _, m := range c.misses {
		t.Logf("  not first: %s", m)
	}
	if got := float64(c.first) / float64(c.n); got < first {
		t.Errorf("%s: first in %.0f %%, want %.0f %% at least", name, 100*got, 100*first)
	}
	if got := float64(c.three) / float64(c.n); got < three {
		t.Errorf("%s: within the first three in %.0f %%, want %.0f %% at least", name, 100*got, 100*three)
	}
}

// The reported faults of testdata/cases: an accepted cause within the first three for at
// least 95 %, first for at least 80 %; no healthy log is called faulty, with what was
// answered and without.
func TestReportedFaults(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	var short, long, healthy tally
	for _, c := range labels(t) {
		if c.id[0] == 'H' {
			for _, answers := range [][]string{c.answers, nil} {
				res := ask(t, k, c.id+".log", answers)
				healthy.add(c.id, res, c.accepted)
				if res.Verdict == diagnose.VerdictFault || res.Causes[0].ID != diagnose.NothingWrong {
					t.Errorf("%s is healthy and called %s: %s", c.id, res.Verdict, top(res, 3))
				}
			}
			continue
		}
		short.add(c.id, ask(t, k, c.id+".log", c.answers), c.accepted)
		long.add(c.id, ask(t, k, c.id+".long.log", c.answers), c.accepted)
	}
	short.hold(t, "short logs", 0.80, 0.95)
	long.hold(t, "long logs", 0.80, 0.95)
	healthy.hold(t, "healthy logs", 1, 1)
}

// Cases that were made up keep what they showed to be missing from being lost.
func TestMadeUpFaults(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	var made tally
	for _, c := range labelsIn(t, "made") {
		made.add(c.id, ask(t, k, filepath.Join("..", "made", c.id+".log"), c.answers), c.accepted)
	}
	made.hold(t, "made up", 0.80, 0.95)
}

// The same with the answers alone, and with the log alone. A log of a line or two often
// cannot tell its cause; the floors are what the contract of no case asks for and only
// keep it from falling.
func TestReportedFaultsInPart(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	var answers, log tally
	for _, c := range labels(t) {
		if c.id[0] == 'H' {
			continue
		}
		answers.add(c.id, ask(t, k, "", c.answers), c.accepted)
		log.add(c.id, ask(t, k, c.id+".long.log", nil), c.accepted)
	}
	answers.hold(t, "answers alone", 0.75, 0.9)
	log.hold(t, "long log alone", 0.7, 0.85)
}

// Each case without what rests on it alone: a file that is tuned to its cases would fall
// far. Words of phrases are not dropped, since they name no case.
func TestReportedFaultsLeaveOneOut(t *testing.T) {
	var left tally
	for _, c := range labels(t) {
		if c.id[0] == 'H' {
			continue
		}
		k := knowledge(t, diagnose.LoadOptions{Without: c.id})
		left.add(c.id, ask(t, k, c.id+".log", c.answers), c.accepted)
	}
	left.hold(t, "leave one out", 0.75, 0.9)
}

// What the cases say of the probabilities, told in all ways in which they can be: they
// must not promise more than they keep. The knowledge was written with these cases at
// hand, so they are right more often than was promised; TestVirtualBoards holds the
// probabilities against boards that it was not written from.
func TestCalibrationOnCases(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	type bin struct{ n, right int }
	edges := []float64{0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0001}
	bins := make([]bin, len(edges)-1)
	for _, c := range labels(t) {
		tellings := [][2]any{{c.id + ".log", c.answers}, {c.id + ".log", []string(nil)}}
		if c.id[0] != 'H' {
			tellings = append(tellings, [2]any{c.id + ".long.log", c.answers}, [2]any{c.id + ".long.log", []string(nil)}, [2]any{"", c.answers})
		}
		for i := range c.answers { // and with the first few answers only
			tellings = append(tellings, [2]any{c.id + ".log", c.answers[:i]})
		}
		for _, told := range tellings {
			res := ask(t, k, told[0].(string), told[1].([]string))
			for _, r := range res.Causes {
				for b := range bins {
					if r.Probability >= edges[b] && r.Probability < edges[b+1] {
						bins[b].n++
						if slices.Contains(c.accepted, r.ID) {
							bins[b].right++
						}
					}
				}
			}
		}
	}
	for b, c := range bins {
		share := 0.0
		if c.n > 0 {
			share = float64(c.right) / float64(c.n)
		}
		t.Logf("given %3.0f to %3.0f %%: %4d causes, right %5.1f %%", 100*edges[b], 100*min(edges[b+1], 1), c.n, 100*share)
		if c.n >= 10 && share < edges[b]-0.1 {
			t.Errorf("of %d causes given %.0f %% and more, %.0f %% are right", c.n, 100*edges[b], 100*share)
		}
	}
}
