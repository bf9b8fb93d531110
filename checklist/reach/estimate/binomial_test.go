package estimate_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"propwright/checklist/reach/estimate"
)

// rows reads a table of testdata/tables; lines that begin with # name its source.
func rows(t *testing.T, name string) (records []map[string]float64) {
	t.Helper()
	f, err := os.Open("../../../testdata/tables/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range all[1:] {
		record := map[string]float64{}
		for i, cell := range line {
			record[all[0][i]] = number(t, cell)
		}
		records = append(records, record)
	}
	return records
}

func number(t testing.TB, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

func TestBoundsAgreeWithStatsmodels(t *testing.T) {
	table := rows(t, "proportion_intervals.csv")
	if len(table) != 19 {
		t.Fatalf("%d rows, want 19", len(table))
	}
	for _, row := range table {
		k, n := int(row["k"]), int(row["n"])
		low, high := estimate.Interval(k, n, 0.95)
		if !near(low, row["cp_lo"], 2e-9) || !near(high, row["cp_hi"], 2e-9) {
			t.Errorf("Interval(%d, %d, 0.95) = %.9f, %.9f; want %.9f, %.9f", k, n, low, high, row["cp_lo"], row["cp_hi"])
		}
		if low, high := estimate.Wilson(k, n, 0.95); !near(low, row["wilson_lo"], 2e-9) || !near(high, row["wilson_hi"], 2e-9) {
			t.Errorf("Wilson(%d, %d, 0.95) = %.9f, %.9f; want %.9f, %.9f", k, n, low, high, row["wilson_lo"], row["wilson_hi"])
		}
		if got := estimate.Lower(k, n, 0.95); !near(got, row["exact_onesided_lo"], 2e-9) {
			t.Errorf("Lower(%d, %d, 0.95) = %.9f; want %.9f", k, n, got, row["exact_onesided_lo"])
		}
	}
}

// NIST/SEMATECH e-Handbook 7.2.4.1: 4 failures of 20, 90 %; the handbook prints
// 0.401029 for the upper side, the rounding of its root finder (exact 0.4010281).
func TestIntervalOfTheNISTHandbook(t *testing.T) {
	low, high := estimate.Interval(4, 20, 0.90)
	if !near(low, 0.071354, 1e-6) || !near(high, 0.401029, 1.1e-6) {
		t.Errorf("Interval(4, 20, 0.90) = %.6f, %.6f; want 0.071354, 0.401029", low, high)
	}
}

// The bound after n successes in n is 0.05^(1/n) (binomial algebra; computed in
// plain Python and with statsmodels).
func TestLowerWithoutAMiss(t *testing.T) {
	for n, want := range map[int]float64{
		10: .741134, 14: .807364, 20: .860892, 22: .872695, 28: .898534, 29: .901855, 30: .904966,
		45: .935596, 58: .949661, 59: .950492, 93: .968301, 298: .989998, 299: .990031,
	} {
		if got := estimate.Lower(n, n, 0.95); !near(got, want, 1e-6) {
			t.Errorf("Lower(%d, %d, 0.95) = %.6f; want %.6f", n, n, got, want)
		}
	}
}

// The rule of three says about 3/n; the exact bounds are computed in plain Python.
func TestUpperWithoutASuccess(t *testing.T) {
	for n, want := range map[int]float64{30: 0.095034, 300: 0.009936} {
		if got := estimate.Upper(0, n, 0.95); !near(got, want, 1e-6) {
			t.Errorf("Upper(0, %d, 0.95) = %.6f; want %.6f", n, got, want)
		}
	}
}

// Sample sizes computed in plain Python by summing binomial terms.
func TestLeastTrials(t *testing.T) {
	rates := []float64{0.80, 0.90, 0.95, 0.99}
	for misses, want := range [][]int{{14, 29, 59, 299}, {22, 46, 93, 473}, {30, 61, 124, 628}} {
		for i, rate := range rates {
			if got := estimate.LeastTrials(misses, rate, 0.95); got != want[i] {
				t.Errorf("LeastTrials(%d, %g, 0.95) = %d; want %d", misses, rate, got, want[i])
			}
		}
	}
	if got := estimate.LeastTrials(0, 1, 0.95); got != 0 {
		t.Errorf("LeastTrials(0, 1, 0.95) = %d; want 0, no number of trials proves certainty", got)
	}
}

// A bound is right exactly when the binomial tail at it has the probability that
// was asked for; the tail is summed here term by term.
func TestBoundsPutTheTailWhereItBelongs(t *testing.T) {
	for n := 1; n <= 60; n++ {
		for k := 1; k <= n; k++ {
			for _, level := range []float64{0.8, 0.95, 0.999} {
				p := estimate.Lower(k, n, level)
				if tail := tailFrom(k, n, p); !near(tail, 1-level, 1e-10) {
					t.Fatalf("Lower(%d, %d, %g) = %g has a tail of %g; want %g", k, n, level, p, tail, 1-level)
				}
			}
		}
	}
}

// tailFrom is the probability of k or more successes in n.
func tailFrom(k, n int, p float64) float64 {
	term := math.Pow(1-p, float64(n)) // of no success
	sum := 0.0
	for i := 0; i <= n; i++ {
		if i >= k {
			sum += term
		}
		term *= float64(n-i) / float64(i+1) * p / (1 - p)
	}
	return sum
}

func TestBoundsOfNonsenseBoundNothing(t *testing.T) {
	for _, tt := range []struct {
		k, n      int
		low, high float64
	}{{0, 0, 0, 1}, {3, 0, 0, 1}, {0, -2, 0, 1}, {-1, 10, 0, estimate.Upper(0, 10, .95)}, {11, 10, estimate.Lower(10, 10, .95), 1}} {
		if low, high := estimate.Lower(tt.k, tt.n, .95), estimate.Upper(tt.k, tt.n, .95); low != tt.low || high != tt.high {
			t.Errorf("bounds of %d in %d = %g, %g; want %g, %g", tt.k, tt.n, low, high, tt.low, tt.high)
		}
	}
}
