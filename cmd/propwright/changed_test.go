//go:build linux

package main

import (
	"slices"
	"strings"
	"testing"

	"propwright/checklist"
)

// A bench that was signed, and a cover that was changed on another day: what the
// architecture's table says rests on it is run again, nothing else, and the report
// keeps both verdicts and why.
func TestAChangedCoverRepeatsRangeAndRepeat(t *testing.T) {
	b := newSimBench(t)
	if verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Bench}); err != nil || verdict != checklist.Passed {
		t.Fatalf("bench: %s, %v", verdict, err)
	}
	said := checklist.Answer{Question: checklist.Question{Key: "changed", Kind: checklist.AskText}, Text: "cover", By: "Ben Room"}
	if verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Bench, changed: []string{"cover"}, said: &said}); err != nil || verdict != checklist.Passed {
		t.Fatalf("bench again: %s, %v", verdict, err)
	}
	for id, n := range b.decided() {
		if want := map[bool]int{false: 1, true: 2}[id == "range" || id == "repeat"]; n != want {
			t.Errorf("step %s was decided %d times, want %d", id, n, want)
		}
	}
	m := b.report()
	for _, s := range m.Steps {
		if (s.ID == "range" || s.ID == "repeat") && (len(s.Earlier) != 1 || s.Earlier[0].Why != "changed since: cover") {
			t.Errorf("step %s: earlier %+v; want one verdict, and the cover", s.ID, s.Earlier)
		}
	}
	if m.Issue != 2 || !strings.HasPrefix(m.Replaces, "sha256:") {
		t.Errorf("issue %d in place of %q; want the second, with the digest of the first", m.Issue, m.Replaces)
	}
	if !slices.ContainsFunc(b.entries(), func(e checklist.Entry) bool {
		return e.Answer != nil && e.Answer.By == "Ben Room" && e.Answer.Text == "cover"
	}) {
		t.Error("who said that the cover changed is not on record")
	}
	if status, words := verifyStatus(t, b.dir); status != statusDone {
		t.Errorf("verify: status %d\n%s", status, words)
	}
}
