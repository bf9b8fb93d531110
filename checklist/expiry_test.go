package checklist_test

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
)

// everything stands for all steps of both sittings.
const everything = "*"

// What each change takes away, from the architecture's table "Evidence expires by
// what changed since"; lists, network and supply, and the step recovery, which shows the link
// again after each trouble and so expires with it, are not in that table and are argued
// at the head of the procedure.
func TestEachChangeExpiresWhatRestedOnItAndNothingElse(t *testing.T) {
	p, err := checklist.BuiltinProcedure("new")
	if err != nil {
		t.Fatal(err)
	}
	p = p.Of(checklist.Item{Readers: []checklist.Reader{{Coil: 117}}})
	table := map[string]string{
		"settings":  "settings lights removal link recovery",
		"soldering": "reader-chip range repeat",
		"leads":     "reader-chip range repeat",
		"tag":       "range repeat",
		"object":    "range repeat",
		"cover":     "range repeat",
		"board":     everything,
		"lists":     "master programming cards clean-up",
		"network":   "link recovery in-service",
		"supply":    "wiring attach reader-chip range repeat in-service",
	}
	if diff := cmp.Diff(slices.Sorted(maps.Keys(table)), slices.Sorted(slices.Values(checklist.ChangeNames()))); diff != "" {
		t.Errorf("changes (-table +known):\n%s", diff)
	}
	var decided []checklist.Entry
	for _, s := range p.Steps {
		decided = append(decided, checklist.Entry{
			Type: checklist.EntryVerdict, Sitting: s.Sitting, Step: s.ID, Outcome: &checklist.Outcome{Verdict: checklist.Passed},
		})
	}
	for change, ids := range table {
		t.Run(change, func(t *testing.T) {
			expire := checklist.Entry{Type: checklist.EntryExpire, Changed: []string{change}}
			entries := append(slices.Clone(decided), expire)
			left := checklist.Outcomes(entries, p)
			spoilt := checklist.Spoilt(entries, p)
			for _, s := range p.Steps {
				place := s.Place()
				want := ids == everything || slices.Contains(strings.Fields(ids), s.ID)
				if _, holds := left[place]; holds == want {
					t.Errorf("%s %s: holds %t after a change of %s, want %t", s.Sitting, s.ID, holds, change, !want)
				}
				if got := slices.Equal(spoilt[place], []string{change}); got != want {
					t.Errorf("%s %s: spoilt by %v, want by %s: %t", s.Sitting, s.ID, spoilt[place], change, want)
				}
			}
		})
	}
}

// A step that was decided again, or never was, is not spoilt.
func TestSpoiltAreOnlyStepsThatWereDecidedAndAreOpen(t *testing.T) {
	p, err := checklist.BuiltinProcedure("new")
	if err != nil {
		t.Fatal(err)
	}
	link := checklist.Entry{Type: checklist.EntryVerdict, Sitting: checklist.Bench, Step: "link", Outcome: &checklist.Outcome{Verdict: checklist.Passed}}
	network := checklist.Entry{Type: checklist.EntryExpire, Changed: []string{"network"}}
	settings := checklist.Entry{Type: checklist.EntryExpire, Changed: []string{"settings"}}
	place := checklist.Place{Sitting: checklist.Bench, Step: "link"}
	for name, tt := range map[string]struct {
		entries []checklist.Entry
		want    map[checklist.Place][]string
	}{
		"never decided": {[]checklist.Entry{network}, map[checklist.Place][]string{}},
		"decided again": {[]checklist.Entry{link, network, link}, map[checklist.Place][]string{}},
		"two changes":   {[]checklist.Entry{link, network, settings}, map[checklist.Place][]string{place: {"network", "settings"}}},
		"one twice":     {[]checklist.Entry{link, network, network}, map[checklist.Place][]string{place: {"network"}}},
	} {
		t.Run(name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, checklist.Spoilt(tt.entries, p)); diff != "" {
				t.Errorf("Spoilt (-want +got):\n%s", diff)
			}
		})
	}
}
