package estimate

import "math"

// The grid of a Belief: how finely the reliable range is told apart, how far below
// contact it may lie for a reader that is poor there too, and the slopes that a
// reader may have, in logarithmic odds a millimetre. The slopes are from experience
// with printed coils, no source, and wide: the rate falls from 95 to 5 in 100 within
// 1 to 24 mm.
const (
	gridMM      = 0.5
	belowMM     = 6.0
	leastSlope  = 0.25
	mostSlope   = 6.0
	slopesTried = 13
)

// A Belief is what is thought of a reader between presentations: a weight for each
// pair of a reliable range (the spacing read 95 times in 100) and a slope. Before the
// first one all pairs weigh the same. It says where to present next. It is not safe
// for concurrent use.
type Belief struct {
	spacings []float64
	ranges   []float64
	slopes   []float64
	weights  []float64   // by range, then slope
	rates    [][]float64 // by spacing, then as weights
}

// NewBelief is the belief about a reader whose reliable range is mostMM at most,
// before any presentation, with the spacings that can be made.
func NewBelief(spacings []float64, mostMM float64) *Belief {
	b := &Belief{spacings: spacings}
	for r := -belowMM; r <= mostMM; r += gridMM {
		b.ranges = append(b.ranges, r)
	}
	for i := range slopesTried {
		b.slopes = append(b.slopes, leastSlope*math.Pow(mostSlope/leastSlope, float64(i)/(slopesTried-1)))
	}
	b.weights = make([]float64, len(b.ranges)*len(b.slopes))
	for i := range b.weights {
		b.weights[i] = 1 / float64(len(b.weights))
	}
	for _, s := range spacings {
		b.rates = append(b.rates, b.ratesAt(s))
	}
	return b
}

// ratesAt is the read rate at a spacing under each pair.
func (b *Belief) ratesAt(spacingMM float64) []float64 {
	q := Logit.eta(ReliableRate)
	rates := make([]float64, 0, len(b.weights))
	for _, r := range b.ranges {
		for _, slope := range b.slopes {
			rates = append(rates, Logit.rate(q-slope*(spacingMM-r)))
		}
	}
	return rates
}

// Fresh forgets all presentations.
func (b *Belief) Fresh() {
	for i := range b.weights {
		b.weights[i] = 1 / float64(len(b.weights))
	}
}

// Take learns from one presentation (Bayes's rule).
func (b *Belief) Take(spacingMM float64, read bool) {
	rates := []float64(nil)
	for i, s := range b.spacings {
		if s == spacingMM {
			rates = b.rates[i]
		}
	}
	if rates == nil {
		rates = b.ratesAt(spacingMM)
	}
	sum := 0.0
	for i, p := range rates {
		if !read {
			p = 1 - p
		}
		// No pair is ruled out by one slip.
		b.weights[i] *= max(p, 1e-6)
		sum += b.weights[i]
	}
	for i := range b.weights {
		b.weights[i] /= sum
	}
}

// Gains is, for each spacing, the information in nats that a presentation there is
// expected to give about the reliable range, whatever the slope (Lindley, Annals of
// Mathematical Statistics 27, 1956, 986-1005): the entropy of its outcome less that
// which is left once the range is known.
func (b *Belief) Gains() []float64 {
	gains := make([]float64, len(b.spacings))
	n := len(b.slopes)
	for i, rates := range b.rates {
		whole, left := 0.0, 0.0
		for r := range b.ranges {
			weight, read := 0.0, 0.0
			for j := r * n; j < (r+1)*n; j++ {
				weight += b.weights[j]
				read += b.weights[j] * rates[j]
			}
			if weight > 1e-12 {
				left += weight * entropy(read/weight)
			}
			whole += read
		}
		gains[i] = max(0, entropy(whole)-left)
	}
	return gains
}

// entropy of an outcome with two values.
func entropy(p float64) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	return -p*math.Log(p) - (1-p)*math.Log1p(-p)
}

// Next is the spacing whose presentation tells most about the reliable range. Where
// the last one still tells the share stay of that, it is kept, because changing
// spacers takes hands longer than presenting; stay above 1 never keeps it.
func (b *Belief) Next(last, stay float64) float64 {
	gains := b.Gains()
	best, kept := 0, -1
	for i, g := range gains {
		if g > gains[best] {
			best = i
		}
		if b.spacings[i] == last {
			kept = i
		}
	}
	if kept >= 0 && gains[kept] >= stay*gains[best] {
		return last
	}
	return b.spacings[best]
}

// Nearest is the level closest to a spacing.
func Nearest(levels []float64, spacingMM float64) float64 {
	return levels[nearest(levels, spacingMM)]
}

func nearest(levels []float64, spacingMM float64) (at int) {
	for i, l := range levels {
		if math.Abs(l-spacingMM) < math.Abs(levels[at]-spacingMM) {
			at = i
		}
	}
	return at
}

// NextStep is where a plain up-and-down series goes: one level farther after a
// read, one nearer after a miss, and never beyond the ends. Levels rise.
func NextStep(levels []float64, last float64, read bool) float64 {
	at := nearest(levels, last)
	if read {
		return levels[min(at+1, len(levels)-1)]
	}
	return levels[max(at-1, 0)]
}
