package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"propwright/checklist"
	"propwright/parsers"
)

// A summary is how a batch stands: each board, and what one has unlike the others.
type summary struct {
	Batch     int                  `json:"batch"`
	Boards    []boardSummary       `json:"boards"`
	StandOuts []checklist.Standout `json:"stands_out"`
}

type boardSummary struct {
	Board    string            `json:"board"`
	Prop     string            `json:"prop"`
	Run      int               `json:"run"`
	Verdict  checklist.Verdict `json:"verdict"`
	Causes   []string          `json:"causes,omitempty"` // of a failure
	LeftOut  string            `json:"left_out,omitempty"`
	Reported bool              `json:"reported"`
}

func (b *batch) summarise(ctx context.Context) (summary, error) {
	sum := summary{Batch: b.file.Number, StandOuts: []checklist.Standout{}}
	outcomes := map[string]map[checklist.Place]checklist.Outcome{}
	for _, m := range b.file.Members {
		s, err := b.standing(ctx, m)
		if err != nil {
			return sum, err
		}
		outcomes[m.Board] = s.outcomes
		sum.Boards = append(sum.Boards, boardSummary{
			Board: m.Board, Prop: m.Prop, Run: m.Run, Verdict: s.soFar(), Causes: causesOf(s.outcomes, s.procedure),
			LeftOut: m.LeftOut, Reported: s.reported,
		})
	}
	sum.StandOuts = append(sum.StandOuts, checklist.StandOuts(outcomes)...)
	return sum, nil
}

// soFar is the verdict without the steps of the last stage, which are those that sign
// for it.
func (s standing) soFar() checklist.Verdict {
	if s.reported {
		return s.verdict()
	}
	stages := s.procedure.Stages(checklist.Bench)
	rest := s
	rest.procedure.Steps = nil
	for _, step := range s.procedure.Sitting(checklist.Bench) {
		if step.Stage != stages[len(stages)-1] {
			rest.procedure.Steps = append(rest.procedure.Steps, step)
		}
	}
	return rest.verdict()
}

// counts puts the verdicts into words: 7 passed, 3 failed.
func (s summary) counts() string {
	var parts []string
	for _, v := range []checklist.Verdict{checklist.Passed, checklist.NotConfirmed, checklist.Skipped, checklist.Failed} {
		n := 0
		for _, b := range s.Boards {
			if b.Verdict == v {
				n++
			}
		}
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, v))
		}
	}
	return strings.Join(parts, ", ")
}

func (s summary) unsigned() int {
	n := 0
	for _, b := range s.Boards {
		if !b.Reported {
			n++
		}
	}
	return n
}

func (s summary) worst() checklist.Verdict {
	worst := checklist.Passed
	for _, b := range s.Boards {
		worst = worst.Worse(b.Verdict)
	}
	return worst
}

// print shows a line for each board with what it failed by, and what stands out.
func (s summary) print(w io.Writer) {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, b := range s.Boards {
		fmt.Fprintf(table, "%s\t%s\treport %d\t%s\n", parsers.Printable(b.Board), parsers.Printable(b.Prop), b.Run, b.Verdict)
	}
	table.Flush()
	for _, b := range s.Boards {
		for _, cause := range b.Causes {
			fmt.Fprintf(w, "%s: %s\n", b.Board, parsers.Printable(cause))
		}
		if b.LeftOut != "" {
			fmt.Fprintf(w, "%s: left out: %s\n", b.Board, parsers.Printable(b.LeftOut))
		}
	}
	for _, o := range s.StandOuts {
		fmt.Fprintf(w, "stands out: %s, %s, %s: %s; of %d boards usual is %s", o.Board, o.Step, parsers.Printable(o.What), parsers.Printable(o.Value), o.Of, parsers.Printable(o.Usual))
		if o.Perhaps != "" {
			fmt.Fprintf(w, "; perhaps %s", o.Perhaps)
		}
		fmt.Fprintln(w)
	}
}
