package estimate_test

import (
	"math"
	"testing"

	"propwright/checklist/reach/estimate"
)

// The manual page of R's poisson.test has 11 events in 800 and 6+8+7 in 1083+1050+878
// units of time, with p = 0.07967 (from memory). With equal times the first count is that
// of heads of a fair coin: six of six on one side have 2 in 64.
func TestSameFrequency(t *testing.T) {
	for _, tt := range []struct {
		k1   int
		t1   float64
		k2   int
		t2   float64
		want float64
		tol  float64
	}{
		{11, 800, 6 + 8 + 7, 1083 + 1050 + 878, 0.07967, 5e-6},
		{0, 60, 6, 60, 2.0 / 64, 1e-12},
		{3, 60, 3, 60, 1, 1e-12},
		{0, 60, 0, 60, 1, 0},
		{2, 0, 5, 60, 1, 0},
	} {
		if got := estimate.SameFrequency(tt.k1, tt.t1, tt.k2, tt.t2); math.Abs(got-tt.want) > tt.tol {
			t.Errorf("%+v: %g", tt, got)
		}
		if a, b := estimate.SameFrequency(tt.k1, tt.t1, tt.k2, tt.t2), estimate.SameFrequency(tt.k2, tt.t2, tt.k1, tt.t1); math.Abs(a-b) > 1e-12 {
			t.Errorf("%+v: %g, and %g the other way round", tt, a, b)
		}
	}
}
