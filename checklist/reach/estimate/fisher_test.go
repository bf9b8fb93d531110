package estimate_test

import (
	"math"
	"testing"

	"propwright/checklist/reach/estimate"
)

// Fisher, The Design of Experiments, chapter 2: of eight cups three of four are told
// rightly with a probability of 16 in 70 and four of four with 1 in 70, so that three or
// more, or as far off to the other side, have 34 in 70. His table of convicts' twins
// (Journal of the Royal Statistical Society 98, 1935, 48: 10 of 13 and 2 of 17 convicted)
// has 0.000537 two-sided by scipy.stats.fisher_exact (from memory).
func TestSameRate(t *testing.T) {
	for _, tt := range []struct {
		k1, n1, k2, n2 int
		want, within   float64
	}{
		{3, 4, 1, 4, 34.0 / 70, 1e-12},
		{4, 4, 0, 4, 2.0 / 70, 1e-12},
		{10, 13, 2, 17, 0.000537, 1e-6},
		{14, 14, 20, 20, 1, 1e-12},
		// One miss in all is in the smaller series with its share of the trials: 14 in 34.
		{13, 14, 20, 20, 14.0 / 34, 1e-12},
		{0, 0, 3, 5, 1, 0},
	} {
		if got := estimate.SameRate(tt.k1, tt.n1, tt.k2, tt.n2); math.Abs(got-tt.want) > tt.within {
			t.Errorf("%d of %d and %d of %d: %g; want %g", tt.k1, tt.n1, tt.k2, tt.n2, got, tt.want)
		}
		if a, b := estimate.SameRate(tt.k1, tt.n1, tt.k2, tt.n2), estimate.SameRate(tt.n2-tt.k2, tt.n2, tt.n1-tt.k1, tt.n1); math.Abs(a-b) > 1e-12 {
			t.Errorf("%+v: %g, mirrored %g", tt, a, b)
		}
	}
}
