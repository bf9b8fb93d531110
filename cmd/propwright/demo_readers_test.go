package main

import (
	"slices"
	"strings"
	"testing"
)

// A board of three readers passes both sittings, whether it keeps one list or one
// for each reader, and the report has a step for each reader.
func TestDemoOfThreeReadersPasses(t *testing.T) {
	for lists, each := range map[string]string{
		"board":  "reader-chip removal range repeat",
		"reader": "reader-chip removal range repeat master programming cards clean-up",
	} {
		t.Run(lists, func(t *testing.T) {
			t.Parallel()
			status, lines, report := demoRun(t, "--readers", "3", "--lists", lists)
			if status != statusDone || report.Verdict != "passed" {
				t.Fatalf("status %d, verdict %q: %s", status, report.Verdict, verdicts(report))
			}
			if n := len(report.Steps); n != len(lines)-1 {
				t.Errorf("%d steps in the report, %d lines before the last", n, len(lines)-1)
			}
			readers := map[string][]int{}
			for _, s := range report.Steps {
				if s.Sitting == "bench" {
					readers[s.ID] = append(readers[s.ID], s.Reader)
				}
			}
			for _, id := range strings.Fields(each) {
				if !slices.Equal(readers[id], []int{0, 1, 2}) {
					t.Errorf("step %s is there for the readers %v, want 0, 1 and 2", id, readers[id])
				}
			}
			which, ok := findStep(report, "readers", "passed")
			if !ok || len(which.Findings) != 3 {
				t.Errorf("step readers: passed %t with %d findings, want one a reader", ok, len(which.Findings))
			}
			link, _ := findStep(report, "link", "passed")
			for _, coil := range []string{"coil 117", "coil 121", "coil 122"} {
				if !strings.Contains(wordsOf(link, "passed"), coil) {
					t.Errorf("the link step does not name %s:\n%s", coil, wordsOf(link, "passed"))
				}
			}
		})
	}
}

// Two readers that are exchanged are found, and the finding names both.
func TestCrossedReadersAreNamed(t *testing.T) {
	status, _, report := demoRun(t, "--fault", "readers-crossed")
	which, ok := findStep(report, "readers", "failed")
	if status != statusVerdict || !ok {
		t.Fatalf("status %d, steps %s; want readers failed", status, verdicts(report))
	}
	words := wordsOf(which, "failed")
	for _, name := range []string{"tag on reader 0: shows at reader 1", "tag on reader 1: shows at reader 0"} {
		if !strings.Contains(words, name) {
			t.Errorf("the findings do not say %q:\n%s", name, words)
		}
	}
	for _, s := range report.Steps {
		if s.ID != "readers" && s.Verdict == "failed" {
			t.Errorf("step %q failed too", s.ID)
		}
	}
}
