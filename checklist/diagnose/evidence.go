package diagnose

import (
	"cmp"
	"slices"
)

// An Evidence is a finding's value that was seen, and where.
type Evidence struct {
	Observation
	From  Source
	Line  int    // in the text, from 1; 0 for none
	Text  string // what was read or answered; not made harmless
	Exact bool   // answered by ids, so that nothing was taken for anything
	rank  int    // how much the place counts where two say different things
}

// A Source is where an evidence comes from.
type Source string

// Sources of evidence.
const (
	FromConsole Source = "console"
	FromRemark  Source = "remark"
	FromNetwork Source = "network"
	FromReport  Source = "report"
	FromAnswer  Source = "answer"
	FromScript  Source = "measured" // counted while a person did what a script says
)

// Merge keeps one evidence for each finding. What was answered goes before what a text
// says; in a text, what was found by counting goes before what a single line says, and
// what is out of the ordinary before what is usual.
func Merge(lists ...[]Evidence) []Evidence {
	best := map[int]Evidence{}
	for _, list := range lists {
		for _, e := range list {
			old, known := best[e.Finding]
			if !known || e.rank > old.rank || e.rank == old.rank && (e.Exact || e.Value > old.Value) {
				best[e.Finding] = e
			}
		}
	}
	out := make([]Evidence, 0, len(best))
	for _, e := range best {
		out = append(out, e)
	}
	slices.SortFunc(out, func(a, b Evidence) int { return cmp.Compare(a.Finding, b.Finding) })
	return out
}

// Ranks of evidence.
const (
	rankLine   = 1 // a line's words
	rankRemark = 2 // a person's remark
	rankCount  = 3 // counted over the text
	rankAnswer = 4
)
