package reach

import (
	"math"
	"slices"

	"propwright/checklist/reach/estimate"
)

// A Tolerance is how far off a spacing may be, plus or minus, in millimetres.
type Tolerance struct{ SpacingMM, ToleranceMM float64 }

// ToleranceBetween gives the tolerance of any spacing in millimetres from those of some:
// between two in proportion; below the first that of the first; beyond the last growing
// as the spacing does, as a stack's does. None are no tolerance. Where a spacing comes
// twice the larger one counts.
func ToleranceBetween(of []Tolerance) func(mm float64) float64 {
	sorted := slices.Clone(of)
	slices.SortFunc(sorted, func(a, b Tolerance) int {
		switch {
		case a.SpacingMM < b.SpacingMM, a.SpacingMM == b.SpacingMM && a.ToleranceMM > b.ToleranceMM:
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	sorted = slices.CompactFunc(sorted, func(a, b Tolerance) bool { return a.SpacingMM == b.SpacingMM })
	return func(mm float64) float64 {
		if len(sorted) == 0 {
			return 0
		}
		for i, t := range sorted {
			switch {
			case t.SpacingMM < mm:
			case i == 0:
				return t.ToleranceMM
			default:
				from := sorted[i-1]
				return from.ToleranceMM + (t.ToleranceMM-from.ToleranceMM)*(mm-from.SpacingMM)/(t.SpacingMM-from.SpacingMM)
			}
		}
		last := sorted[len(sorted)-1]
		if last.SpacingMM == 0 {
			return last.ToleranceMM
		}
		return last.ToleranceMM * mm / last.SpacingMM
	}
}

// Widen brings the tolerance of spacings into the interval of a figure. All spacings are
// off alike, so that the whole curve is shifted; as a rectangular distribution (JCGM
// 100:2008, 4.3.7) the standard uncertainty is the tolerance over the root of three, and
// 1.96 of them join the statistical half-width by the root of the sum of squares. An end
// that is not bounded stays so.
func Widen(f estimate.Figure, tolerance func(mm float64) float64) estimate.Figure {
	wider := func(end *float64, side float64) *float64 {
		if end == nil {
			return nil
		}
		from := *end
		if f.Value != nil {
			from = *f.Value
		}
		return ptr(*end + side*(math.Hypot(*end-from, 1.96/math.Sqrt(3)*tolerance(max(0, from)))-math.Abs(*end-from)))
	}
	return estimate.Figure{Value: f.Value, Low: wider(f.Low, -1), High: wider(f.High, 1)}
}
