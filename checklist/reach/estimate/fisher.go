package estimate

import "math"

// SameRate is the probability, if two series of trials have one success rate, of two
// counts at least as unlikely as these: k1 of n1 and k2 of n2, by Fisher's exact test,
// two-sided. Series of nothing tell nothing apart: 1.
func SameRate(k1, n1, k2, n2 int) float64 {
	if n1 <= 0 || n2 <= 0 {
		return 1
	}
	k := k1 + k2
	// The logarithm of the hypergeometric probability of x in the first series.
	at := func(x int) float64 { return choose(n1, x) + choose(n2, k-x) - choose(n1+n2, k) }
	limit, sum := at(k1)+1e-9, 0.0
	for x := max(0, k-n2); x <= min(n1, k); x++ {
		if v := at(x); v <= limit {
			sum += math.Exp(v)
		}
	}
	return min(1, sum)
}

// choose is the logarithm of a binomial coefficient.
func choose(n, k int) float64 {
	f := func(n int) float64 { v, _ := math.Lgamma(float64(n) + 1); return v }
	return f(n) - f(k) - f(n-k)
}
