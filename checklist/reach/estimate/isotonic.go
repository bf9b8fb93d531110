package estimate

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Pool is a run of neighbouring spacings that share one rate.
type Pool struct {
	Counts    []Counts // by rising spacing
	Presented int
	Read      int
}

// Rate is the pool's share of reads.
func (p Pool) Rate() float64 { return float64(p.Read) / float64(p.Presented) }

// Falling is the likeliest read rate that never rises with the spacing, found by
// pooling neighbours that do (pool adjacent violators: Ayer and others, Annals of
// Mathematical Statistics 26, 1955, 641-647). It assumes nothing else.
func Falling(counts []Counts) []Pool {
	var pools []Pool
	for _, c := range merge(counts) {
		next := Pool{[]Counts{c}, c.Presented, c.Read}
		for n := len(pools); n > 0 && pools[n-1].Rate() < next.Rate(); n = len(pools) {
			last := pools[n-1]
			next = Pool{append(append([]Counts{}, last.Counts...), next.Counts...), last.Presented + next.Presented, last.Read + next.Read}
			pools = pools[:n-1]
		}
		pools = append(pools, next)
	}
	return pools
}

// FallingRange is the largest spacing up to which the pools keep a rate, between two
// spacings by a straight line; ok is false where the rate is kept or missed
// everywhere.
func FallingRange(pools []Pool, rate float64) (spacingMM float64, ok bool) {
	if len(pools) == 0 || pools[0].Rate() < rate || pools[len(pools)-1].Rate() >= rate {
		return 0, false
	}
	for i := len(pools) - 2; i >= 0; i-- {
		if here, next := pools[i], pools[i+1]; here.Rate() >= rate {
			from, to := here.Counts[len(here.Counts)-1].SpacingMM, next.Counts[0].SpacingMM
			return from + (to-from)*(here.Rate()-rate)/(here.Rate()-next.Rate()), true
		}
	}
	return 0, false
}

const (
	// chanceLevel is how unlikely counts that rise must be, if the rate falls, before
	// chance no longer explains them; disagreeLevel is the like for a curve that
	// passes beside a pool.
	chanceLevel   = 0.95
	disagreeLevel = 0.99
)

// Rises describes the pools in which the rate rises with the spacing, and beyond
// reports whether one of them does so by more than chance explains.
func Rises(pools []Pool) (where []string, beyond bool) {
	for _, p := range pools {
		if len(p.Counts) < 2 {
			continue
		}
		first, last := p.Counts[0], p.Counts[len(p.Counts)-1]
		flat := first.Read*last.Presented == last.Read*first.Presented
		fit := 0.0
		for _, c := range p.Counts {
			k, n := float64(c.Read), float64(c.Presented)
			fit += 2 * (excess(k, n, math.Log(p.Rate())) + excess(n-k, n, math.Log(1-p.Rate())))
		}
		if flat && fit < 1e-9 {
			continue
		}
		var parts []string
		for _, c := range p.Counts {
			parts = append(parts, fmt.Sprintf("%d of %d at %s mm", c.Read, c.Presented, mm(c.SpacingMM)))
		}
		where = append(where, strings.Join(parts, ", "))
		beyond = beyond || fit > chiSquare(chanceLevel, len(p.Counts)-1)
	}
	return where, beyond
}

// chiSquare is the quantile of chi-square by the cube-root approximation of Wilson
// and Hilferty (Proceedings of the National Academy of Sciences 17, 1931, 684-688),
// good to a few parts in 100, which a warning does not need better.
func chiSquare(level float64, degrees int) float64 {
	z, d := math.Sqrt2*math.Erfinv(2*level-1), float64(degrees)
	return d * math.Pow(1-2/(9*d)+z*math.Sqrt(2/(9*d)), 3)
}

// disagrees are the pools beside which the curve passes: its mean rate over the
// pool's presentations lies outside the pool's exact interval.
func disagrees(c *Curve, pools []Pool) (where []string) {
	for _, p := range pools {
		mean := 0.0
		for _, at := range p.Counts {
			mean += c.Rate(at.SpacingMM) * float64(at.Presented) / float64(p.Presented)
		}
		if low, high := Interval(p.Read, p.Presented, disagreeLevel); mean < low || mean > high {
			where = append(where, fmt.Sprintf("%d of %d read from %s to %s mm, the curve says %s in 100", p.Read, p.Presented,
				mm(p.Counts[0].SpacingMM), mm(p.Counts[len(p.Counts)-1].SpacingMM), strconv.FormatFloat(100*mean, 'f', 0, 64)))
		}
	}
	return where
}

// mm prints a spacing to a hundredth of a millimetre at most.
func mm(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}
