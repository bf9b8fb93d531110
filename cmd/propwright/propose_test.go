package main

import (
	"testing"

	"propwright/checklist"
)

func TestTheProcedureProposedFollowsFromTheRunsBefore(t *testing.T) {
	const (
		newly, recheck, swap = checklist.ProcedureNew, checklist.ProcedureRecheck, checklist.ProcedureSwap
		passed, failed       = checklist.EndPassed, checklist.EndFailed
	)
	for name, tt := range map[string]struct {
		runs []pastRun // the newest last; the board asked about is rdr-07
		want string
		why  string
	}{
		"never":                    {nil, newly, "no report has passed board rdr-07 at this prop yet"},
		"failed only":              {[]pastRun{{1, newly, "rdr-07", failed, true}}, newly, "no report has passed board rdr-07 at this prop yet"},
		"bench only":               {[]pastRun{{1, newly, "rdr-07", passed, false}}, newly, "no report has passed board rdr-07 at this prop yet"},
		"passed":                   {[]pastRun{{1, newly, "rdr-07", passed, true}}, recheck, "board rdr-07 passed in report 1"},
		"a recheck that failed":    {[]pastRun{{1, newly, "rdr-07", passed, true}, {2, recheck, "rdr-07", failed, true}}, recheck, "board rdr-07 passed in report 1"},
		"put in by a swap":         {[]pastRun{{1, newly, "rdr-05", passed, true}, {2, swap, "rdr-07", passed, true}}, newly, "report 2 put board rdr-07 in on a short proof only"},
		"the whole after a swap":   {[]pastRun{{2, swap, "rdr-07", passed, true}, {3, newly, "rdr-07", passed, true}}, recheck, "board rdr-07 passed in report 3"},
		"another board was there":  {[]pastRun{{1, newly, "rdr-05", passed, true}}, newly, "board rdr-07 is new at this prop, where rdr-05 was before"},
		"back after another board": {[]pastRun{{1, newly, "rdr-07", passed, true}, {2, swap, "rdr-05", passed, true}}, newly, "board rdr-07 is back at this prop, where rdr-05 was since"},
	} {
		if got, why := propose(tt.runs, "rdr-07"); got != tt.want || why != tt.why {
			t.Errorf("%s: %s, %q; want %s, %q", name, got, why, tt.want, tt.why)
		}
	}
}
