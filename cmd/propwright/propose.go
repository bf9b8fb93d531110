package main

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"propwright/checklist"
	"propwright/checklist/report"
)

// A pastRun is what an earlier run says for the choice of a procedure.
type pastRun struct {
	number    int
	procedure string
	board     string // its asset
	end       checklist.RunEnd
	complete  bool // no step was left open
}

// propose says which procedure a prop's board is due for, by the prop's earlier
// runs, the newest last, and why in one sentence.
func propose(runs []pastRun, board string) (procedure, why string) {
	other := ""
	for _, r := range slices.Backward(runs) {
		switch {
		case r.end != checklist.EndPassed || !r.complete:
		case r.board != board:
			other = cmp.Or(other, r.board)
		case other != "":
			return checklist.ProcedureNew, fmt.Sprintf("board %s is back at this prop, where %s was since", board, other)
		case r.procedure == checklist.ProcedureSwap:
			return checklist.ProcedureNew, fmt.Sprintf("report %d put board %s in on a short proof only", r.number, board)
		default:
			return checklist.ProcedureRecheck, fmt.Sprintf("board %s passed in report %d", board, r.number)
		}
	}
	if other != "" {
		return checklist.ProcedureNew, fmt.Sprintf("board %s is new at this prop, where %s was before", board, other)
	}
	return checklist.ProcedureNew, fmt.Sprintf("no report has passed board %s at this prop yet", board)
}

// pastRuns are a prop's runs that have a report, by number.
func pastRuns(reports, prop string) ([]pastRun, error) {
	prior, err := priorRuns(reports, prop, 1<<31-1)
	if err != nil {
		return nil, err
	}
	var runs []pastRun
	for _, p := range prior {
		m, ok := readSigned(reports, prop, p.Number)
		if !ok {
			continue
		}
		runs = append(runs, pastRun{p.Number, m.Procedure.Name, m.Board.Asset, p.End, m.Complete})
	}
	return runs, nil
}

// readSigned is a prop's report of a number; ok is false where it was not signed, or is
// none that this program reads, so that it says nothing.
func readSigned(reports, prop string, number int) (m report.Model, ok bool) {
	text, err := os.ReadFile(filepath.Join(reports, runName(number, prop), report.FileReport))
	if err != nil {
		return m, false
	}
	m, err = report.Parse(text)
	return m, err == nil
}
