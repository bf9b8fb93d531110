package estimate

import "math"

// A step is where counts allow the rate to fall all at once: everything was read
// before a spacing and nothing after it. from and to are the last spacing with a read
// and the first with a miss, the same one where both came about there.
type step struct{ from, to float64 }

// stepOf finds the step; ok is false where some spacing was read beyond one that was
// missed, so that the counts themselves say how steeply the rate can fall at most.
func stepOf(counts []Counts) (s step, ok bool) {
	s = step{math.Inf(-1), math.Inf(1)}
	for _, c := range counts {
		if c.Read > 0 {
			s.from = c.SpacingMM
		}
		if c.Read < c.Presented && math.IsInf(s.to, 1) {
			s.to = c.SpacingMM
		}
	}
	return s, s.from <= s.to
}

// steepest is the range by the likelihood alone, the steepest curves among them. Where
// counts allow a step, the penalty by itself rules steep curves out, though a reader
// may well have one; an interval of the reliable range that rests on that would lie.
// (The one of the spacing read half the time hardly depends on it.)
func steepest(counts []Counts, link Link, rate, level float64, s step) Figure {
	m := newModel(counts, link, false)
	q := link.eta(rate)
	// The highest likelihood is that of the step: certain everywhere but at a spacing
	// that has both. A steep curve through that is where to begin, or one in the middle
	// of the step.
	best, eta := 0.0, 0.0
	for _, c := range counts {
		k, n := float64(c.Read), float64(c.Presented)
		if k > 0 && k < n {
			best += k*math.Log(k/n) + (n-k)*math.Log(1-k/n)
			eta = link.eta(k/n) - q
		}
	}
	nearest := math.Inf(1)
	for i := range m.z[1:] {
		nearest = min(nearest, m.z[i+1]-m.z[i])
	}
	from, slope := (s.from+s.to)/2, -30/nearest
	switch {
	case math.IsInf(s.from, -1):
		from = s.to - m.scale
	case math.IsInf(s.to, 1):
		from = s.from + m.scale
	}
	at := (from-m.centre)/m.scale - eta/slope
	p := profile{c: &Curve{Link: link, m: m, a: q - slope*at, b: slope}, low: math.Inf(-1), least: best - drop(level)}
	return Figure{Low: p.end(q, -1, at), High: p.end(q, 1, at)}
}

// hull is the first figure with the wider of each end; one that is not bounded stays
// so.
func hull(a, b Figure) Figure {
	if a.Low != nil && b.Low != nil && *b.Low < *a.Low || b.Low == nil {
		a.Low = b.Low
	}
	if a.High != nil && b.High != nil && *b.High > *a.High || b.High == nil {
		a.High = b.High
	}
	return a
}
