package field

import (
	"fmt"
	"math"
)

// LeastField is the field in A/m that every card of the first class must work in, and
// MostField the one that it must stand (ISO/IEC 14443-2, operating field strength; the
// figures second hand).
const (
	LeastField = 1.5
	MostField  = 7.5
)

const (
	carrier = 13.56e6            // Hz, ISO/IEC 14443-2
	mu0     = 4 * math.Pi * 1e-7 // H/m
)

// A Coil is a flat one, round or rectangular, with all its turns at its edge.
type Coil struct {
	RadiusM         float64 // of a round one
	WidthM, HeightM float64 // of a rectangular one
	Turns           float64
	CurrentA        float64 // root mean square
}

// Check says what a coil lacks to be one.
func (c Coil) Check() error {
	round, flat := c.RadiusM != 0, c.WidthM != 0 || c.HeightM != 0
	within := func(v float64) bool { return v >= 1e-3 && v <= 1 }
	switch {
	case round == flat:
		return fmt.Errorf("a coil has either a radius or a width and a height")
	case round && !within(c.RadiusM):
		return fmt.Errorf("radius %g mm: must be 1 to 1000", 1000*c.RadiusM)
	case flat && (!within(c.WidthM) || !within(c.HeightM)):
		return fmt.Errorf("width %g and height %g mm: must be 1 to 1000", 1000*c.WidthM, 1000*c.HeightM)
	case !(c.Turns >= 1 && c.Turns <= 100):
		return fmt.Errorf("%g turns: must be 1 to 100", c.Turns)
	case !(c.CurrentA > 0 && c.CurrentA <= 10):
		return fmt.Errorf("current %g A: must be above 0 and at most 10", c.CurrentA)
	}
	return nil
}

// OnAxis is the field in A/m on the axis, a distance from the coil's plane (law of
// Biot and Savart; Finkenzeller, RFID Handbook, 4.1.1.1, both formulas from memory or
// second hand and checked against the integral).
func (c Coil) OnAxis(x float64) float64 {
	if c.RadiusM > 0 {
		r2 := c.RadiusM * c.RadiusM
		return c.Turns * c.CurrentA * r2 / (2 * math.Pow(r2+x*x, 1.5))
	}
	a, b := c.WidthM/2, c.HeightM/2
	return c.Turns * c.CurrentA * 4 * a * b / (4 * math.Pi * math.Sqrt(a*a+b*b+x*x)) * (1/(a*a+x*x) + 1/(b*b+x*x))
}

// BeforePlate is the field on the axis with a metal plate a distance behind the coil:
// the plate's eddy currents act as the coil's mirror image with the current reversed,
// which holds for a plate much larger than the coil and thicker than the skin depth
// (18 µm of copper). The coil's current is taken as it was; the plate also detunes the
// coil, which takes away more.
func (c Coil) BeforePlate(x, behind float64) float64 {
	return c.OnAxis(x) - c.OnAxis(x+2*behind)
}

// ReachTo is the distance at which the field on the axis, with a plate behind where
// behind is above 0, has fallen to a strength; 0 where it never reaches it.
func (c Coil) ReachTo(strength, behind float64) float64 {
	return fallsTo(c.with(behind), strength)
}

func (c Coil) with(behind float64) func(float64) float64 {
	if behind > 0 {
		return func(x float64) float64 { return c.BeforePlate(x, behind) }
	}
	return c.OnAxis
}

// fallsTo is where a falling field has a strength, 0 where it is weaker from the
// start.
func fallsTo(f func(float64) float64, strength float64) float64 {
	low, high := 0.0, 0.01
	if f(0) <= strength {
		return 0
	}
	for f(high) > strength {
		low, high = high, 2*high
		if high > 1e6 {
			return high
		}
	}
	for range 100 {
		if mid := (low + high) / 2; f(mid) > strength {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// BestRadius is the radius of the round coil that gives the strongest field at a
// distance with the same turns and current: larger ones are weaker close by, smaller
// ones farther off (Finkenzeller, 4.1.1.2).
func BestRadius(x float64) float64 { return x * math.Sqrt2 }

// WithGain is how far an answer is heard with so many decibels of receiver gain more,
// where at present it is heard up to a distance. The field that the card answers with
// falls as the coupling does, there and back, so it goes with the square of the coil's
// field: in the end as one over the distance to the sixth, where 6 dB more buy an
// eighth. It cannot be heard from where the field no longer feeds the card, up to
// powered.
func (c Coil) WithGain(heard, decibels, powered, behind float64) float64 {
	f := c.with(behind)
	more := fallsTo(f, f(heard)*math.Pow(10, -decibels/40))
	if powered > 0 {
		return min(more, max(powered, heard))
	}
	return more
}

// Induced is the voltage, root mean square, that a field in A/m induces in a card's
// coil of so many turns and square metres, without load and resonance (Faraday).
func Induced(fieldAPerM, turns, area float64) float64 {
	return 2 * math.Pi * carrier * mu0 * turns * area * fieldAPerM
}

// Detuned is the frequency in Hz of a circuit tuned to the carrier once its inductance
// has changed by a share: metal lowers it, which raises the frequency, ferrite the
// other way round.
func Detuned(share float64) float64 { return carrier / math.Sqrt(1+share) }
