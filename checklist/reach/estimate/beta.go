package estimate

import "math"

// incompleteBeta is the regularised incomplete beta function I_x(a, b) for a and
// b above 0 (NIST Digital Library of Mathematical Functions, 8.17), by its
// continued fraction (8.17.22) on the side where that converges quickly and by
// the symmetry I_x(a, b) = 1 - I_1-x(b, a) on the other.
func incompleteBeta(x, a, b float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	// log1p keeps digits where x is small.
	front := math.Exp(a*math.Log(x) + b*math.Log1p(-x) - logBeta(a, b))
	if x < (a+1)/(a+b+2) {
		return front * betaFraction(x, a, b) / a
	}
	return 1 - front*betaFraction(1-x, b, a)/b
}

func logBeta(a, b float64) float64 {
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	return la + lb - lab
}

// betaFraction evaluates 1/(1+ d1/(1+ d2/(1+ ...))) from the front with Lentz's
// method, which needs a stand-in for a zero in a denominator.
func betaFraction(x, a, b float64) float64 {
	const (
		tiny = 1e-300
		near = 1e-15
		most = 10000
	)
	away := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c, d := 1.0, 1/away(1-(a+b)*x/(a+1))
	h := d
	for m := 1.0; m < most; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d = 1 / away(1+even*d)
		c = away(1 + even/c)
		h *= d * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / away(1+odd*d)
		c = away(1 + odd/c)
		h *= d * c
		if math.Abs(d*c-1) < near {
			break
		}
	}
	return h
}
