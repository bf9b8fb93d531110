package estimate

import (
	"errors"
	"math"
	"slices"
)

// A Staircase is the Dixon-Mood estimate of an up-and-down series.
type Staircase struct {
	MeanMM   float64 // the spacing that is read half the time
	SpreadMM float64 // standard deviation of the normal distribution behind it
	// Sound is false where the spread's formula does not hold: V is 0.3 or less (the
	// limit is from memory of Dixon and Mood's paper).
	Sound bool
	N     int // trials with the less frequent outcome, which alone count
	V     float64
}

// ErrNoStaircase says that counts are no up-and-down series: not on levels of one
// step, or without both outcomes.
var ErrNoStaircase = errors.New("no up-and-down series")

// DixonMood is the estimate of Dixon and Mood (Journal of the American Statistical
// Association 43, 1948, 109-126) from the counts of an up-and-down series with a
// constant step. Half a step is added where reads are counted, because a tag is read
// less at larger spacings, and taken off where misses are. No interval follows from
// it: it is there for comparison. The error is ErrNoStaircase.
func DixonMood(counts []Counts, stepMM float64) (Staircase, error) {
	var reads, misses int
	for _, c := range merge(counts) {
		reads += c.Read
		misses += c.Presented - c.Read
	}
	// The number of a trial's outcome that is the rarer.
	count, half := func(c Counts) int { return c.Presented - c.Read }, -0.5
	if reads < misses {
		count, half = func(c Counts) int { return c.Read }, 0.5
	}
	of := slices.DeleteFunc(merge(counts), func(c Counts) bool { return count(c) == 0 })
	if len(of) == 0 || !(stepMM > 0) {
		return Staircase{}, ErrNoStaircase
	}
	var n, a, b float64
	for _, c := range of {
		i := math.Round((c.SpacingMM - of[0].SpacingMM) / stepMM)
		if math.Abs(of[0].SpacingMM+i*stepMM-c.SpacingMM) > stepMM/10 {
			return Staircase{}, ErrNoStaircase
		}
		k := float64(count(c))
		n += k
		a += i * k
		b += i * i * k
	}
	s := Staircase{MeanMM: of[0].SpacingMM + stepMM*(a/n+half), N: int(n), V: (n*b - a*a) / (n * n)}
	s.SpreadMM = 1.62 * stepMM * (s.V + 0.029)
	s.Sound = s.V > 0.3
	return s, nil
}
