package estimate

import "math"

// Lower is the exact one-sided lower bound of a probability at a confidence
// level such as 0.95, after k successes in n trials: the p at which k or more
// successes have the probability 1 - level (Clopper and Pearson; formula as in the
// NIST/SEMATECH e-Handbook, 7.2.4.1). No trial bounds nothing: 0. A k outside
// 0 to n counts as the nearer end.
func Lower(k, n int, level float64) float64 {
	k = min(max(k, 0), n)
	alpha := 1 - level
	switch {
	case n <= 0 || k == 0:
		return 0
	case k == n:
		return math.Pow(alpha, 1/float64(n))
	}
	a, b := float64(k), float64(n-k+1)
	return solve(func(p float64) float64 { return incompleteBeta(p, a, b) - alpha })
}

// Upper is the exact one-sided upper bound of a probability at a confidence
// level, after k successes in n trials. No trial bounds nothing: 1.
func Upper(k, n int, level float64) float64 {
	if n <= 0 {
		return 1
	}
	return 1 - Lower(n-min(max(k, 0), n), n, level)
}

// Interval is the exact two-sided interval (Clopper and Pearson): each side is
// the one-sided bound at half the error.
func Interval(k, n int, level float64) (low, high float64) {
	each := 1 - (1-level)/2
	return Lower(k, n, each), Upper(k, n, each)
}

// mostTrials bounds LeastTrials: no bench presents a tag more often.
const mostTrials = 100000

// LeastTrials is the smallest number of trials that, with so many misses among
// them, bounds the success rate one-sidedly to rate or more; 0 when not even
// 100,000 would.
func LeastTrials(misses int, rate, level float64) int {
	enough := func(n int) bool { return Lower(n-misses, n, level) >= rate }
	misses = max(misses, 0)
	if misses >= mostTrials || !enough(mostTrials) {
		return 0
	}
	low, high := misses, mostTrials // low is not enough, unless it is all there is
	for high-low > 1 {
		if mid := (low + high) / 2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// solve finds the zero of a rising function between 0 and 1 by halving: slow,
// and sure to come to the last digit.
func solve(f func(float64) float64) float64 {
	low, high := 0.0, 1.0
	for range 200 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// Wilson is the score interval of a probability (Wilson, Journal of the American
// Statistical Association 22, 1927, 209-212), without a correction for continuity. It
// is shorter than the exact one and right on average, which suits a picture. No
// trial bounds nothing.
func Wilson(k, n int, level float64) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	k = min(max(k, 0), n)
	z := math.Sqrt2 * math.Erfinv(level)
	share, m := float64(k)/float64(n), float64(n)
	middle := (share + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(share*(1-share)/m+z*z/(4*m*m))
	return max(0, middle-half), min(1, middle+half)
}
