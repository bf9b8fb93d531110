package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"propwright/checklist/report"
)

// The virtual board reads half of all presentations at 21 mm and spreads by a logistic
// law with a scale of 0.7 mm (serialmon/virtual/hand.go), so that 95 in 100 are read at
// 21 - 0.7 ln 19 mm. A 95 % interval may miss that once in twenty; of eight, four or more
// do so with a probability of 0.0004 (binomial formula).
func TestDemoFindsTheVirtualBoardsRange(t *testing.T) {
	truth := map[string]float64{"range": 21 - 0.7*math.Log(19), "range read half the time": 21}
	missed, seen := map[string]int{}, map[string]int{}
	for seed := range 4 {
		_, lines, _ := demoRun(t, "--seed", fmt.Sprint(seed+1))
		folder := strings.TrimPrefix(lines[len(lines)-1], "report: ")
		text, err := os.ReadFile(filepath.Join(folder, report.FileReport))
		if err != nil {
			t.Fatal(err)
		}
		m, err := report.Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range m.Steps {
			for _, f := range s.Findings {
				want, is := truth[f.What]
				if s.ID != "range" || !is {
					continue
				}
				seen[f.What]++
				if f.Value.Low != nil && *f.Value.Low > want || f.Value.High != nil && *f.Value.High < want {
					missed[f.What]++
				}
				if f.What == "range" && (f.Value.Low == nil || f.Value.High == nil || f.Curve == nil) {
					t.Errorf("seed %d, %s: range %+v without both ends or a picture", seed+1, s.Sitting, f.Value)
				}
			}
		}
		if seed > 0 {
			continue
		}
		page, err := os.ReadFile(filepath.Join(folder, report.FileHTML))
		if err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(string(page), `<figure class="curve">`); n != 2 {
			t.Errorf("%d pictures of a range in the report; want one for each sitting", n)
		}
	}
	for what := range truth {
		if seen[what] != 8 || missed[what] >= 4 {
			t.Errorf("%s: the truth is missed by %d of %d intervals", what, missed[what], seen[what])
		}
	}
}
