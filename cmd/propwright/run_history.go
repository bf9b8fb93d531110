package main

import (
	"cmp"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/checklist/report"
)

// priorRuns are a prop's runs with a lower number, each with how it has ended.
func priorRuns(reports, prop string, number int) ([]checklist.Prior, error) {
	found, err := os.ReadDir(reports)
	if err != nil {
		return nil, err
	}
	var prior []checklist.Prior
	for _, f := range found {
		if n, p, ok := splitRunName(f.Name()); ok && p == prop && n < number {
			prior = append(prior, checklist.Prior{Number: n, End: runEnd(filepath.Join(reports, f.Name()))})
		}
	}
	slices.SortFunc(prior, func(a, b checklist.Prior) int { return cmp.Compare(a.Number, b.Number) })
	return prior, nil
}

// runEnd says how a run has ended, by its signed report. A report that cannot be
// read counts as none: verify says what is wrong with it.
func runEnd(dir string) checklist.RunEnd {
	text, err := os.ReadFile(filepath.Join(dir, report.FileReport))
	if err != nil {
		return checklist.EndUnfinished
	}
	m, err := report.Parse(text)
	if err != nil {
		return checklist.EndUnfinished
	}
	openInIt := slices.ContainsFunc(m.Open, func(o report.Open) bool { return o.Sitting == m.Sitting })
	aborted := slices.ContainsFunc(m.Notes, func(n report.Note) bool { return strings.HasPrefix(n.Text, checklist.AbortNote) })
	switch {
	case openInIt && aborted:
		return checklist.EndAborted
	case m.Verdict == checklist.Passed:
		return checklist.EndPassed
	case m.Verdict == checklist.Failed:
		return checklist.EndFailed
	}
	return checklist.EndNotConfirmed
}

// beforeIt puts a run's earlier ones into words, "" for the first.
func beforeIt(prior []checklist.Prior) string {
	ends := map[string]int{}
	for _, p := range prior {
		ends[string(p.End)]++
	}
	if words := report.CountEnds(ends); words != "" {
		return "; before it: " + words
	}
	return ""
}
