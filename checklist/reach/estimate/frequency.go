package estimate

import "math"

// SameFrequency is the probability, if events come by chance and equally often in two
// stretches of time, of two counts at least as unlikely as these: k1 events in t1 and k2
// in t2, two-sided. Given how many there are in all, the first stretch's share of them
// is binomial (Przyborowski and Wilenski, Biometrika 31, 1940). Stretches of no length,
// and no event at all, tell nothing apart: 1.
func SameFrequency(k1 int, t1 float64, k2 int, t2 float64) float64 {
	n := k1 + k2
	if k1 < 0 || k2 < 0 || n == 0 || !(t1 > 0) || !(t2 > 0) {
		return 1
	}
	in, out := math.Log(t1/(t1+t2)), math.Log(t2/(t1+t2))
	at := func(x int) float64 { return choose(n, x) + float64(x)*in + float64(n-x)*out }
	limit, sum := at(k1)+1e-9, 0.0
	for x := 0; x <= n; x++ {
		if v := at(x); v <= limit {
			sum += math.Exp(v)
		}
	}
	return min(1, sum)
}
