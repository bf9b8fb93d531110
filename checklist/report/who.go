package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"propwright/checklist"
)

// answered counts an answer for who gave it: a run may be continued by another
// person than began it.
func (f *folded) answered(e checklist.Entry) {
	if e.Answer == nil || e.Answer.By == "" {
		return
	}
	if f.answers[e.Sitting] == nil {
		f.answers[e.Sitting] = map[string]int{}
	}
	f.answers[e.Sitting][e.Answer.By]++
}

// counts lists who answered, by name.
func counts(by map[string]int) []AnswerCount {
	var list []AnswerCount
	for _, name := range slices.Sorted(maps.Keys(by)) {
		list = append(list, AnswerCount{By: name, Count: by[name]})
	}
	return list
}

// priors are the runs before, as the report has them.
func priors(before []checklist.Prior) []Prior {
	var list []Prior
	for _, p := range before {
		list = append(list, Prior{Number: p.Number, End: string(p.End)})
	}
	return list
}

// EarlierRuns says how many runs came before and how they ended, such as "2 failed,
// 1 passed"; "" when this is the first.
func (m Model) EarlierRuns() string {
	ends := map[string]int{}
	for _, p := range m.Before {
		ends[p.End]++
	}
	return CountEnds(ends)
}

// CountEnds puts counts of ends into words, the good ones last; "" for none.
func CountEnds(ends map[string]int) string {
	var words []string
	for _, end := range []checklist.RunEnd{
		checklist.EndFailed, checklist.EndNotConfirmed, checklist.EndAborted, checklist.EndUnfinished, checklist.EndPassed,
	} {
		if n := ends[string(end)]; n > 0 {
			words = append(words, fmt.Sprintf("%d %s", n, end))
		}
	}
	return strings.Join(words, ", ")
}
