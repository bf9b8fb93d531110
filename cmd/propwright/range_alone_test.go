//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os/exec"
	"path/filepath"
	"testing"

	"propwright/checklist"
)

// range PROP measures a board in service in a process of its own, through a
// pseudo-terminal, changes nothing and writes no report.
func TestRangeAlone(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a quarter of a minute")
	}
	k := newKillBench(t, buildProgram(t), "--enrolled", "master,show,show-2")
	site := filepath.Join(k.dir, "site")
	for _, sitting := range []checklist.Sitting{checklist.Bench, checklist.Site} {
		cmd := exec.CommandContext(t.Context(), k.program, "range", demoProp, "--site", site, "--sitting", string(sitting),
			"--port", k.port, "--hands", k.control, "--pace", killPace, "--json")
		var errOut bytes.Buffer
		cmd.Stderr = &errOut
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v\n%s", sitting, err, &errOut)
		}
		var v rangeView
		if err := json.Unmarshal(out, &v); err != nil {
			t.Fatal(err)
		}
		if v.Verdict != checklist.Passed || !v.Virtual || v.Prop != demoProp || len(v.Findings) < 3 {
			t.Errorf("%s: %+v", sitting, v)
		}
		what := map[string]checklist.Finding{}
		for _, f := range v.Findings {
			what[f.What] = f
		}
		if _, contact := what["read in contact"]; contact != (sitting == checklist.Bench) {
			t.Errorf("%s: in contact tried: %t", sitting, contact)
		}
		// As the board is built (serialmon/virtual/hand.go); what an interval misses once in
		// twenty times lies within a few millimetres still.
		if r50 := what["range read half the time"].Value; r50.Number == nil || math.Abs(*r50.Number-21) > 4 {
			t.Errorf("%s: r50 %+v; want about 21 mm", sitting, r50)
		}
		if f := what["range"]; f.Curve == nil || len(f.Rests) == 0 {
			t.Errorf("%s: range %+v without picture or evidence", sitting, f)
		}
	}
	if found, _ := filepath.Glob(filepath.Join(site, "reports", "*")); len(found) > 0 {
		t.Errorf("reports were made: %v", found)
	}
	if found, _ := filepath.Glob(filepath.Join(site, "measured", "*", "journal.jsonl")); len(found) != 2 {
		t.Errorf("records: %v; want two journals", found)
	}
}
