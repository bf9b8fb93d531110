package main

import (
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

func (b *batch) summarise() summary {
	sum := summary{Batch: b.file.Number, StandOuts: []checklist.Standout{}}
	outcomes := map[string]map[checklist.Place]checklist.Outcome{}
	for i, m := range b.file.Members {
		s := b.standings[i]
		outcomes[m.Board] = s.outcomes
		sum.Boards = append(sum.Boards, boardSummary{
			Board: m.Board, Prop: m.Prop, Run: m.Run, Verdict: s.verdict(), Causes: s.causes(), LeftOut: m.LeftOut, Reported: s.reported,
		})
	}
	sum.StandOuts = append(sum.StandOuts, checklist.StandOuts(outcomes)...)
	return sum
}

// causes are the findings that a board failed by, in short.
func (s standing) causes() []string {
	var causes []string
	for _, step := range s.procedure.Sitting(checklist.Bench) {
		for _, f := range s.outcomes[step.Place()].Findings {
			if f.Verdict == checklist.Failed {
				causes = append(causes, fmt.Sprintf("%s: %s: %s", step.ID, f.What, f.Value.Text))
			}
		}
	}
	return causes
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
