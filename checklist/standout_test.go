package checklist_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
)

// batchOf makes a batch in which each board has one finding.
func batchOf(step, what string, values ...checklist.Quantity) map[string]map[checklist.Place]checklist.Outcome {
	of := map[string]map[checklist.Place]checklist.Outcome{}
	for i, q := range values {
		of[fmt.Sprintf("rdr-%02d", i)] = map[checklist.Place]checklist.Outcome{
			{Sitting: checklist.Bench, Step: step}: {Findings: []checklist.Finding{{What: what, How: checklist.Measured, Value: q}}},
		}
	}
	return of
}

func figures(unit string, xs ...float64) (qs []checklist.Quantity) {
	for _, x := range xs {
		qs = append(qs, checklist.Number(x, unit, fmt.Sprint(x)))
	}
	return qs
}

func words(texts ...string) (qs []checklist.Quantity) {
	for _, text := range texts {
		qs = append(qs, checklist.Text(text))
	}
	return qs
}

// Which boards stand out. The row "ten masses" has the worked example of the
// NIST/SEMATECH e-Handbook's rule by hand: median 20, deviations 0 to 2 but one, their
// median 1, so the score of 29 is 0.6745*9/1 = 6.07 and that of 22 is 1.35.
func TestWhatStandsOutWithinABatch(t *testing.T) {
	for name, tt := range map[string]struct {
		of   map[string]map[checklist.Place]checklist.Outcome
		want []string
	}{
		"ten masses":           {batchOf("range", "range", figures("mm", 18, 19, 19, 20, 20, 20, 21, 21, 22, 29)...), []string{"rdr-09"}},
		"a spread":             {batchOf("range", "range", figures("mm", 12, 14, 16, 18, 20, 22, 24)...), nil},
		"one spacer less":      {batchOf("range", "range", figures("mm", 18, 18, 18, 18, 18, 18, 16)...), nil},
		"all equal but one":    {batchOf("repeat", "repeatability", figures("1", 0, 0, 0, 0, 0, 0, 0, 0, 0, 4)...), []string{"rdr-09"}},
		"one miss":             {batchOf("repeat", "repeatability", figures("1", 0, 0, 0, 0, 0, 0, 0, 0, 0, 1)...), nil},
		"too few boards":       {batchOf("range", "range", figures("mm", 18, 18, 18, 2)...), nil},
		"a clone among chips":  {batchOf("reader-chip", "chip version", words("0x92", "0x92", "0x92", "0xB2", "0x92", "0x92")...), []string{"rdr-03"}},
		"each has its own":     {batchOf("settings", "setting coil", words("117", "118", "119", "120", "121")...), nil},
		"half and half":        {batchOf("reader-chip", "chip version", words("0x92", "0x92", "0x92", "0x91", "0x91", "0x91")...), nil},
		"words among figures":  {batchOf("range", "range", append(figures("mm", 18, 18, 18, 18, 18), checklist.Text("18"))...), nil},
		"an identity, no size": {batchOf("link", "coil", figures("", 117, 118, 119, 120, 5)...), nil},
	} {
		t.Run(name, func(t *testing.T) {
			var got []string
			for _, s := range checklist.StandOuts(tt.of) {
				got = append(got, s.Board)
				if s.Perhaps == "" || s.Usual == "" || s.Of != len(tt.of) {
					t.Errorf("%+v: want what is usual, of how many and what it may be", s)
				}
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("stand out (-want +got):\n%s", diff)
			}
		})
	}
}

// A person's word and a figure that holds the others' within its own bounds stand
// for nothing odd.
func TestWhatIsStatedOrUncertainDoesNotStandOut(t *testing.T) {
	low, high := 10.0, 40.0
	qs := figures("mm", 18, 19, 19, 20, 20, 20, 21, 21, 22, 29)
	qs[9].Low, qs[9].High = &low, &high
	if got := checklist.StandOuts(batchOf("range", "range", qs...)); got != nil {
		t.Errorf("uncertain: %+v", got)
	}
	of := batchOf("lights", "lamps", words("lit: 3", "lit: 3", "lit: 3", "lit: 3", "lit: 3", "lit: 1")...)
	for _, outcomes := range of {
		for _, o := range outcomes {
			o.Findings[0].How = checklist.Stated
		}
	}
	if got := checklist.StandOuts(of); got != nil {
		t.Errorf("stated: %+v", got)
	}
}
