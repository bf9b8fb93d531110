package estimate

import (
	"cmp"
	"math"
	"slices"
)

// Counts are what came of the presentations at one spacing.
type Counts struct {
	SpacingMM float64
	Presented int
	Read      int
}

// merge returns the counts by rising spacing, each spacing once, without those at
// which nothing was presented.
func merge(counts []Counts) []Counts {
	sorted := slices.Clone(counts)
	slices.SortFunc(sorted, func(a, b Counts) int { return cmp.Compare(a.SpacingMM, b.SpacingMM) })
	var out []Counts
	for _, c := range sorted {
		switch n := len(out); {
		case c.Presented <= 0:
		case n > 0 && out[n-1].SpacingMM == c.SpacingMM:
			out[n-1].Presented += c.Presented
			out[n-1].Read += c.Read
		default:
			out = append(out, c)
		}
	}
	return out
}

// A model is the likelihood of counts under a curve. Its argument is the spacing
// less its mean in units of its spread, which leaves the penalty's shape as it is.
type model struct {
	link          Link
	penalised     bool
	z             []float64
	n, k          []float64
	centre, scale float64
	wt, bend      []float64 // scratch
}

// newModel takes merged counts of two spacings or more.
func newModel(counts []Counts, link Link, penalised bool) *model {
	m := &model{link: link, penalised: penalised}
	var sum, sumSq, n float64
	for _, c := range counts {
		w := float64(c.Presented)
		n += w
		sum += w * c.SpacingMM
	}
	m.centre = sum / n
	for _, c := range counts {
		sumSq += float64(c.Presented) * (c.SpacingMM - m.centre) * (c.SpacingMM - m.centre)
	}
	m.scale = math.Sqrt(sumSq / n)
	for _, c := range counts {
		m.z = append(m.z, (c.SpacingMM-m.centre)/m.scale)
		m.n = append(m.n, float64(c.Presented))
		m.k = append(m.k, float64(c.Read))
	}
	m.wt, m.bend = make([]float64, len(m.z)), make([]float64, len(m.z))
	return m
}

// A point is the likelihood's shape at one curve: what it takes to climb.
type point struct {
	ua, ub     float64 // gradient for intercept and slope, with the penalty's where there is one
	w, zbar, s float64 // Fisher information: sum of weights, weighted mean and spread of z
}

// at looks at the curve with argument a + b z. The penalty is half the logarithm of
// the information's determinant (Firth 1993; for the logistic curve that is the
// prior of Jeffreys), and its gradient is half the trace of the inverse times the
// derivative.
func (m *model) at(a, b float64) point {
	p := point{}
	var mean, square float64
	for i, z := range m.z {
		s := m.link.slopeAt(a + b*z)
		push := m.k[i]*s.up - (m.n[i]-m.k[i])*s.down
		p.ua += push
		p.ub += push * z
		wt := m.n[i] * s.weight
		p.w += wt
		mean += wt * z
		square += wt * z * z
		m.wt[i], m.bend[i] = wt, m.n[i]*s.bend/2
	}
	p.zbar = mean / p.w
	if p.s = square - mean*p.zbar; p.s < 1e-4*square {
		p.s = 0 // the difference has lost its digits
		for i, z := range m.z {
			p.s += m.wt[i] * (z - p.zbar) * (z - p.zbar)
		}
	}
	if m.penalised {
		for i, z := range m.z {
			push := m.bend[i] * (1/p.w + (z-p.zbar)*(z-p.zbar)/p.s)
			p.ua += push
			p.ub += push * z
		}
	}
	return p
}

// value is the logarithm of the likelihood at a curve, with the penalty where there is
// one; p is the shape there.
func (m *model) value(a, b float64, p point) float64 {
	v := 0.0
	for i, z := range m.z {
		logP, logQ := m.link.logRates(a + b*z)
		v += m.k[i]*logP + (m.n[i]-m.k[i])*logQ
	}
	if m.penalised {
		v += (math.Log(p.w) + math.Log(p.s)) / 2
	}
	if math.IsNaN(v) {
		return math.Inf(-1)
	}
	return v
}

const (
	mostSteps   = 100
	mostHalving = 30
	// farSlope is a slope in the model's units at which every rate is 0 or 1.
	farSlope = 1e4
)

// manySpacings are so many that a first climb over their neighbourhoods saves time.
const manySpacings = 400

// first is a guess of where the top is: that of the counts gathered in a hundred
// neighbourhoods where there are many spacings.
func (m *model) first() (a, b float64) {
	if len(m.z) < manySpacings {
		return 0, 0
	}
	from, each := m.z[0], (m.z[len(m.z)-1]-m.z[0])/100
	near := &model{link: m.link, penalised: m.penalised}
	for i, z := range m.z {
		at := from + each*math.Round((z-from)/each)
		if n := len(near.z); n == 0 || near.z[n-1] != at {
			near.z, near.n, near.k = append(near.z, at), append(near.n, 0), append(near.k, 0)
		}
		near.n[len(near.z)-1] += m.n[i]
		near.k[len(near.z)-1] += m.k[i]
	}
	near.wt, near.bend = make([]float64, len(near.z)), make([]float64, len(near.z))
	a, b, _, _, ok := near.top()
	if !ok {
		return 0, 0
	}
	return a, b
}

// top climbs to the highest likelihood by Fisher's scoring, with shorter steps where
// a whole one goes down; ok is false where there is no top at a finite curve.
func (m *model) top() (a, b, value float64, at point, ok bool) {
	a, b = m.first()
	at = m.at(a, b)
	value = m.value(a, b, at)
	for range mostSteps {
		// The information's inverse, by its weighted mean and spread.
		db := (at.ub - at.zbar*at.ua) / at.s
		da := at.ua/at.w - at.zbar*db
		if math.IsNaN(da) || math.IsNaN(db) || math.Abs(a) > farSlope || math.Abs(b) > farSlope {
			return a, b, value, at, false
		}
		// Where the likelihood gains less than its own last digits, this is the top.
		// Without a penalty a separated one climbs for ever, to where no trial tells more.
		if gain := da*at.ua + db*at.ub; gain < 1e-17 {
			a, b = a+da, b+db
			at = m.at(a, b)
			return a, b, m.value(a, b, at), at, m.penalised || at.w > 1e-6
		}
		step := 1.0
		for range mostHalving {
			next := m.at(a+step*da, b+step*db)
			if v := m.value(a+step*da, b+step*db, next); v >= value-1e-13*math.Abs(value) {
				a, b, value, at = a+step*da, b+step*db, v, next
				break
			}
			step /= 2
		}
	}
	return a, b, value, at, m.penalised
}

// A line is a set of curves: with the argument q + t (z - r), or q + t at all spacings
// alike where it is level.
type line struct {
	q, r  float64
	level bool
}

func (l line) curve(t float64) (a, b float64) {
	if l.level {
		return l.q + t, 0
	}
	return l.q - t*l.r, t
}

func (l line) slope(p point) (u, info float64) {
	if l.level {
		return p.ua, p.w
	}
	return p.ub - l.r*p.ua, p.s + p.w*(p.zbar-l.r)*(p.zbar-l.r)
}

// along finds the highest likelihood on a line with t between low and high, where its
// slope changes sign: by scoring from a first guess, kept between places known to lie
// on either side. It returns that t and the likelihood.
func (m *model) along(l line, from, low, high float64) (t, value float64) {
	t = min(max(from, low), high)
	left, right := low, high // uphill lies to the right of left, and to the left of right
	at := point{}
	var lastT, lastU float64
	for i := range mostSteps {
		at = m.at(l.curve(t))
		u, info := l.slope(at)
		if math.IsNaN(u) || u == 0 {
			break
		}
		if u > 0 {
			left = t
		} else {
			right = t
		}
		d := u / info
		// The slope's own change since the last place tells more than the information.
		if change := (u - lastU) / (lastT - t); i > 0 && change > info/4 && change < info*4 {
			d = u / change
		}
		if d*d*info < 1e-14 {
			break
		}
		next := t + d
		if math.IsNaN(next) || math.Abs(next-t) > 2*(1+math.Abs(t)) {
			next = t + math.Copysign(2*(1+math.Abs(t)), u)
		}
		if next <= left || next >= right {
			switch mid := (left + right) / 2; {
			case u > 0 && next >= right && right == high, u < 0 && next <= left && left == low:
				next = min(max(next, low), high)
			case !math.IsInf(mid, 0):
				next = mid
			}
		}
		if next == t || math.Abs(next) > farSlope {
			break
		}
		lastT, lastU = t, u
		t = next
	}
	a, b := l.curve(t)
	return t, m.value(a, b, m.at(a, b))
}
