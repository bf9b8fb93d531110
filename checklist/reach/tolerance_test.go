package reach_test

import (
	"math"
	"testing"

	"propwright/checklist/reach"
	"propwright/checklist/reach/estimate"
)

// Cards (ISO/IEC 7810: 0.76 mm, 0.08 mm either way), 10 and 20 of them.
func TestToleranceBetweenSpacings(t *testing.T) {
	of := reach.ToleranceBetween([]reach.Tolerance{{15.2, 1.6}, {7.6, 0.8}, {7.6, 0.5}})
	for mm, want := range map[float64]float64{0: 0.8, 7.6: 0.8, 11.4: 1.2, 15.2: 1.6, 30.4: 3.2} {
		if got := of(mm); math.Abs(got-want) > 1e-9 {
			t.Errorf("at %g mm: %g; want %g", mm, got, want)
		}
	}
	if got := reach.ToleranceBetween(nil)(10); got != 0 {
		t.Errorf("of nothing: %g", got)
	}
	if got := reach.ToleranceBetween([]reach.Tolerance{{0, 0.1}})(10); got != 0.1 {
		t.Errorf("of contact alone: %g", got)
	}
}

// JCGM 100:2008, 4.3.7: plus or minus a, all values as likely, has the standard
// uncertainty a over the root of three. With 1.6 mm the part of the tolerance is 1.96 times
// 1.6 over 1.7321, 1.8106 mm; with 2 mm by counting that makes the root of 7.2782, 2.6978.
func TestWidenJoinsByTheRootOfSquares(t *testing.T) {
	v := func(mm float64) *float64 { return &mm }
	even := func(float64) float64 { return 1.6 }
	for name, tt := range map[string]struct{ in, want estimate.Figure }{
		"both ends":      {estimate.Figure{Value: v(20), Low: v(18), High: v(22)}, estimate.Figure{Value: v(20), Low: v(17.3022), High: v(22.6978)}},
		"one end open":   {estimate.Figure{Value: v(20), Low: v(18)}, estimate.Figure{Value: v(20), Low: v(17.3022)}},
		"an end alone":   {estimate.Figure{Low: v(18)}, estimate.Figure{Low: v(16.1894)}},
		"nothing at all": {},
	} {
		got := reach.Widen(tt.in, even)
		for i, pair := range [][2]*float64{{got.Value, tt.want.Value}, {got.Low, tt.want.Low}, {got.High, tt.want.High}} {
			if (pair[0] == nil) != (pair[1] == nil) || pair[0] != nil && math.Abs(*pair[0]-*pair[1]) > 1e-4 {
				t.Errorf("%s, part %d: %v; want %v", name, i, deref(pair[0]), deref(pair[1]))
			}
		}
	}
}

func deref(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}
