package main

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// The trials of testdata/tables/spacing_demo9_synthetic.csv.
const demoTrials = "spacing_mm,presented,read\n10,10,10\n15,10,10\n20,10,10\n25,10,10\n30,10,9\n35,10,6\n40,10,2\n45,10,0\n50,10,0\n"

// fitTrials runs range fit on trials from standard input.
func fitTrials(t *testing.T, trials string, args ...string) (status int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	status = run(t.Context(), append([]string{"range", "fit", "-"}, args...), strings.NewReader(trials), &o, &e)
	return status, o.String(), e.String()
}

func fitJSON(t *testing.T, trials string, args ...string) (v rangeFitView) {
	t.Helper()
	status, out, errOut := fitTrials(t, trials, append(args, "--json")...)
	if status != statusDone {
		t.Fatalf("status %d: %s", status, errOut)
	}
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// The tolerance joins each half-width by the root of the sum of squares, as a rectangular
// distribution (JCGM 100:2008, 4.3.7 and 5.2), whether it is given for all spacings or for
// each.
func TestFitTakesTheSpacingsTolerance(t *testing.T) {
	plain := fitJSON(t, demoTrials)
	if plain.R50Tolerance != nil || plain.R95Tolerance != nil {
		t.Errorf("a tolerance of nothing: %+v", plain)
	}
	each := "tolerance_mm," + strings.ReplaceAll(strings.TrimSpace(demoTrials), "\n", "\n1.5,") + "\n"
	growing := "spacing_mm,presented,read,tolerance_mm\n"
	for _, line := range strings.Split(strings.TrimSpace(demoTrials), "\n")[1:] {
		mm, _, _ := strings.Cut(line, ",")
		growing += line + "," + mm + "e-1\n" // a tenth of the spacing
	}
	for name, tt := range map[string]struct {
		trials string
		args   []string
		of     func(mm float64) float64
	}{
		"of all":     {demoTrials, []string{"--tolerance", "1.5"}, func(float64) float64 { return 1.5 }},
		"of each":    {each, nil, func(float64) float64 { return 1.5 }},
		"as it goes": {growing, nil, func(mm float64) float64 { return mm / 10 }},
	} {
		got := fitJSON(t, tt.trials, tt.args...)
		for _, f := range []struct {
			name                                     string
			value, low, high, wasLow, wasHigh, stood *float64
		}{
			{"r50", got.R50, got.R50Low, got.R50High, plain.R50Low, plain.R50High, got.R50Tolerance},
			{"r95", got.R95, got.R95Low, got.R95High, plain.R95Low, plain.R95High, got.R95Tolerance},
		} {
			part := 1.96 * tt.of(*f.value) / math.Sqrt(3)
			low := *f.value - math.Sqrt(math.Pow(*f.value-*f.wasLow, 2)+part*part)
			high := *f.value + math.Sqrt(math.Pow(*f.wasHigh-*f.value, 2)+part*part)
			if math.Abs(*f.low-low) > 1e-9 || math.Abs(*f.high-high) > 1e-9 || f.stood == nil || math.Abs(*f.stood-tt.of(*f.value)) > 1e-9 {
				t.Errorf("%s, %s: %g to %g; want %g to %g", name, f.name, *f.low, *f.high, low, high)
			}
		}
		if *got.R50 != *plain.R50 || *got.R95 != *plain.R95 || !strings.Contains(got.Method, "JCGM 100") {
			t.Errorf("%s: %+v; want the values as they were, and the method to say it", name, got)
		}
	}
	if _, out, _ := fitTrials(t, demoTrials, "--tolerance", "1.5"); !strings.Contains(out, "up to 1.5 mm off either way at r95, all alike") {
		t.Errorf("the words do not say it:\n%s", out)
	}
	// What the trials do not bound stays so.
	open := fitJSON(t, "spacing_mm,presented,read\n10,5,5\n20,5,5\n", "--tolerance", "1.5")
	if open.R95High != nil || open.R95 != nil {
		t.Errorf("all read: %+v; want no upper end", open)
	}
}

func TestFitRefusesATolerance(t *testing.T) {
	for name, tt := range map[string]struct {
		trials, tolerance, want string
	}{
		"below 0": {"", "-1", "tolerance -1: must be 0 to 100 mm"},
		"NaN":     {"", "NaN", "tolerance NaN: must be 0 to 100 mm"},
		"twice":   {"spacing_mm,presented,read,tolerance_mm\n5,5,5,0.1\n", "1", "a column tolerance_mm as well"},
	} {
		status, out, errOut := fitTrials(t, tt.trials, "--tolerance="+tt.tolerance)
		if status != statusUsage || out != "" || !strings.Contains(errOut, tt.want) {
			t.Errorf("%s: status %d, %q; want %d and %q", name, status, errOut, statusUsage, tt.want)
		}
	}
}
