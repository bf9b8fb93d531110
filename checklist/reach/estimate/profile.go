package estimate

import "math"

// A Figure is an estimate with the ends of its interval; what the data do not
// bound is nil.
type Figure struct {
	Value, Low, High *float64
}

// farthest is how far from the middle of the data, in their spreads, an end is
// looked for: no bound that far out says anything about a reader.
const farthest = 1e4

// drop is by how much the logarithm of the likelihood may fall below its highest
// for an interval at a level such as 0.95: half the quantile of chi-square with one
// degree of freedom.
func drop(level float64) float64 {
	z := math.Sqrt2 * math.Erfinv(level)
	return z * z / 2
}

// Range is the spacing that is read with a rate between 0 and 1, with its profile
// likelihood interval: the curve is written with that spacing as a parameter, and
// the interval holds every spacing for which some slope makes the counts likely
// enough (for the penalised likelihood Heinze and Schemper, Statistics in Medicine
// 21, 2002, 2409-2419). Only slopes of the fitted direction count, falling ones where
// none was found. Where nothing was missed, or nothing read, there is no value; the
// interval may still have one end.
func (c *Curve) Range(rate, level float64) Figure {
	p := c.profile(level)
	q := c.Link.eta(rate)
	from := 0.0
	if c.b != 0 {
		from = (q - c.a) / c.b
	}
	f := Figure{Low: p.end(q, -1, from), High: p.end(q, 1, from)}
	if c.falls() && (f.Low != nil || f.High != nil) {
		value := c.Spacing(rate)
		f.Value = &value
	}
	return f
}

// falls reports whether the counts hold reads and misses and the rate changes with
// the spacing.
func (c *Curve) falls() bool {
	var n, k float64
	for i := range c.m.n {
		n += c.m.n[i]
		k += c.m.k[i]
	}
	return k > 0 && k < n && math.Abs(c.b) > 1e-9
}

// A profile is the likelihood's ridge over one parameter.
type profile struct {
	c         *Curve
	least     float64 // what a curve must reach to count
	low, high float64 // slopes that count
	rising    bool
}

func (c *Curve) profile(level float64) profile {
	p := profile{c: c, low: math.Inf(-1), rising: c.b > 1e-9 && c.falls()}
	best := c.best
	if p.rising {
		p.low, p.high = 0, math.Inf(1)
	} else if c.b > 0 {
		// The highest falling curve is the level one.
		_, best = c.m.along(line{level: true}, c.a, math.Inf(-1), math.Inf(1))
	}
	p.least = best - drop(level)
	return p
}

// end is one end of the interval of the spacing at which the argument is q, the
// lower one for side -1, looked for from a place within; nil where the data do not
// bound it.
func (p profile) end(q, side, from float64) *float64 {
	// Far out the curve is level: above q on the side of its read tail, below it on
	// the other.
	low, high := 0.0, math.Inf(1)
	if (side > 0) == p.rising {
		low, high = math.Inf(-1), 0
	}
	if _, v := p.c.m.along(line{q: q, level: true}, p.c.a-q, low, high); v >= p.least {
		return nil
	}
	t := min(max(p.c.b, p.low), p.high)
	over := func(r float64) float64 {
		var v float64
		t, v = p.c.m.along(line{q: q, r: r}, t, p.low, p.high)
		return v - p.least
	}
	r, ok := cross(over, from, side, farthest)
	if !ok {
		return nil
	}
	mm := p.c.m.centre + p.c.m.scale*r
	return &mm
}

// Band is the interval of the read rate at a spacing, by the profile of the curve's
// argument there.
func (c *Curve) Band(spacingMM, level float64) (low, high float64) {
	p := c.profile(level)
	r := (spacingMM - c.m.centre) / c.m.scale
	ends := [2]float64{0, 1}
	for i, side := range []float64{-1, 1} {
		t := min(max(c.b, p.low), p.high)
		over := func(q float64) float64 {
			var v float64
			t, v = c.m.along(line{q: q, r: r}, t, p.low, p.high)
			return v - p.least
		}
		from := min(max(c.a+c.b*r, -mostEta/2), mostEta/2)
		if q, ok := cross(over, from, side, mostEta); ok {
			ends[i] = c.Link.rate(q)
		}
	}
	return ends[0], ends[1]
}

// cross goes from a place where f is not negative to one side, in growing steps and
// then by the Illinois rule, until f is 0; ok is false where it does not get there.
func cross(f func(float64) float64, from, side, most float64) (at float64, ok bool) {
	in, fin := from, f(from)
	// Where no curve of the right direction goes through the best one's place, it is
	// farther on the other side.
	for back := 0.5; fin < 0; back *= 2 {
		if back > most {
			return from, false
		}
		in = from - side*back
		fin = f(in)
	}
	step := 0.05
	out, fout := in, fin
	for fout >= 0 {
		in, fin = out, fout
		out += side * step
		if math.Abs(out) > most {
			return out, false
		}
		fout = f(out)
		step *= 1.7
	}
	kept := 0
	for range 100 {
		if math.Abs(out-in) < 1e-9*(1+math.Abs(in)) {
			break
		}
		mid := in + (out-in)*fin/(fin-fout)
		if !(mid > min(in, out) && mid < max(in, out)) {
			mid = (in + out) / 2
		}
		fm := f(mid)
		if math.Abs(fm) < 1e-10 {
			return mid, true
		}
		if fm > 0 {
			in, fin = mid, fm
			if kept == 1 {
				fout /= 2
			}
			kept = 1
		} else {
			out, fout = mid, fm
			if kept == -1 {
				fin /= 2
			}
			kept = -1
		}
	}
	return (in + out) / 2, true
}
