package estimate

import "math"

// A Link says which curve stands for the read rate over the spacing.
type Link int

// The curves: the logistic one, and that of the normal distribution.
const (
	Logit Link = iota
	Probit
)

// String names the curve as a method's description does.
func (l Link) String() string {
	if l == Probit {
		return "probit"
	}
	return "logistic"
}

// mostEta is as far into a curve's tails as is worth computing: beyond, the normal
// distribution's tail is less than the smallest number there is.
const mostEta = 36

// A slope is what a curve is like at one place of its argument.
type slope struct {
	up, down float64 // density over the rate, and over what is left to 1
	weight   float64 // Fisher information of one trial
	bend     float64 // derivative of the weight
}

func (l Link) slopeAt(eta float64) slope {
	eta = min(max(eta, -mostEta), mostEta)
	if l == Probit {
		p, q := math.Erfc(-eta/math.Sqrt2)/2, math.Erfc(eta/math.Sqrt2)/2
		density := math.Exp(-eta*eta/2) / math.Sqrt(2*math.Pi)
		s := slope{up: density / p, down: density / q}
		s.weight = s.up * s.down
		s.bend = s.weight * (s.down - s.up - 2*eta)
		return s
	}
	e := math.Exp(-math.Abs(eta)) // small, so that neither side is lost
	high := 1 / (1 + e)
	s := slope{up: e * high, down: high, weight: e * high * high}
	if eta < 0 {
		s.up, s.down = s.down, s.up
	}
	s.bend = s.weight * (s.up - s.down)
	return s
}

// logRates are the logarithms of the rate and of what is left to 1.
func (l Link) logRates(eta float64) (logP, logQ float64) {
	eta = min(max(eta, -mostEta), mostEta)
	if l == Probit {
		return math.Log(math.Erfc(-eta/math.Sqrt2) / 2), math.Log(math.Erfc(eta/math.Sqrt2) / 2)
	}
	l1 := math.Log1p(math.Exp(-math.Abs(eta)))
	if eta < 0 {
		return eta - l1, -l1
	}
	return -l1, -eta - l1
}

// rate is the curve itself.
func (l Link) rate(eta float64) float64 {
	if l == Probit {
		return math.Erfc(-eta/math.Sqrt2) / 2
	}
	return 1 / (1 + math.Exp(-eta))
}

// eta is where the curve has a rate between 0 and 1.
func (l Link) eta(rate float64) float64 {
	if l == Probit {
		return -math.Sqrt2 * math.Erfcinv(2*rate)
	}
	return math.Log(rate / (1 - rate))
}
