package estimate

import (
	"errors"
	"math"
)

// Why counts give no curve.
var (
	// ErrNoTrials says that nothing was presented.
	ErrNoTrials = errors.New("no presentation")
	// ErrOneSpacing says that all presentations were at one spacing, which tells
	// nothing of how the read rate falls.
	ErrOneSpacing = errors.New("one spacing only")
	// ErrSeparated says that the likelihood without a penalty has no highest point,
	// because a spacing separates what was read from what was not.
	ErrSeparated = errors.New("reads and misses are separated by a spacing")
)

// A Curve is a read rate over the spacing that was fitted to counts. Its argument
// is Intercept + Slope times the spacing in millimetres. A Curve is not safe for
// concurrent use.
type Curve struct {
	Link             Link
	Intercept, Slope float64
	// The standard errors and the covariance, by the Fisher information at the curve.
	InterceptSE, SlopeSE, Covariance float64
	Deviance                         float64 // against one rate for each spacing

	m    *model
	a, b float64 // in the model's units
	best float64
}

// Fit fits a curve by the likelihood with the penalty of Firth (Biometrika 80,
// 1993, 27-38), which has a highest point also where reads and misses separate.
// The errors are ErrNoTrials and ErrOneSpacing.
func Fit(counts []Counts, link Link) (*Curve, error) { return fit(counts, link, true) }

// FitPlain fits a curve by the likelihood alone. The errors are those of Fit and
// ErrSeparated.
func FitPlain(counts []Counts, link Link) (*Curve, error) { return fit(counts, link, false) }

func fit(counts []Counts, link Link, penalised bool) (*Curve, error) {
	counts = merge(counts)
	switch len(counts) {
	case 0:
		return nil, ErrNoTrials
	case 1:
		return nil, ErrOneSpacing
	}
	m := newModel(counts, link, penalised)
	a, b, value, at, ok := m.top()
	if !ok {
		return nil, ErrSeparated
	}
	c := &Curve{Link: link, m: m, a: a, b: b, best: value, Slope: b / m.scale, Intercept: a - b*m.centre/m.scale}
	// The inverse information for z, carried over to millimetres.
	vb := 1 / at.s
	va, vab := 1/at.w+at.zbar*at.zbar*vb, -at.zbar*vb
	shift := m.centre / m.scale
	c.SlopeSE = math.Sqrt(vb) / m.scale
	c.Covariance = (vab - shift*vb) / m.scale
	c.InterceptSE = math.Sqrt(va - 2*shift*vab + shift*shift*vb)
	for i, z := range m.z {
		logP, logQ := link.logRates(a + b*z)
		c.Deviance += 2 * (excess(m.k[i], m.n[i], logP) + excess(m.n[i]-m.k[i], m.n[i], logQ))
	}
	return c, nil
}

// excess is k times the logarithm of the share k/n over a rate.
func excess(k, n, logRate float64) float64 {
	if k == 0 {
		return 0
	}
	return k * (math.Log(k/n) - logRate)
}

// Rate is the read rate at a spacing.
func (c *Curve) Rate(spacingMM float64) float64 {
	return c.Link.rate(c.Intercept + c.Slope*spacingMM)
}

// Spacing is where the curve has a rate between 0 and 1.
func (c *Curve) Spacing(rate float64) float64 {
	return (c.Link.eta(rate) - c.Intercept) / c.Slope
}
