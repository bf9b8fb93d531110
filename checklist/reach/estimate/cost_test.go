package estimate_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"propwright/checklist/reach/estimate"
)

// optimal is the design on the stacks of cards that makes the variance of the
// estimated reliable range smallest (c-optimal), or the information's determinant
// largest (D-optimal), for one who knows the reader: shares of presentations at two
// spacings, found by trying all pairs.
func optimal(r *simReader, c bool) (at [2]float64, share float64) {
	info := func(mm float64) float64 {
		p := 1 / (1 + math.Exp(r.slope*(mm-r.r50)))
		return p * (1 - p)
	}
	best := math.Inf(1)
	for i, x := range cards() {
		for _, y := range cards()[i+1:] {
			for s := 0.05; s < 0.96; s += 0.05 {
				wx, wy := s*info(x), (1-s)*info(y)
				det := wx * wy * (y - x) * (y - x)
				score := -det
				if c {
					// Of intercept and slope at r95: the argument's variance there, over the slope's square.
					t := r.r95()
					score = (wx*(x-t)*(x-t) + wy*(y-t)*(y-t)) / det
				}
				if score < best {
					best, at, share = score, [2]float64{x, y}, s
				}
			}
		}
	}
	return at, share
}

// design presents at two spacings by their shares, the one that lags behind next.
func design(at [2]float64, share float64) placing {
	first := 0
	return func(i int, _ float64, _ bool) float64 {
		if float64(first) < share*float64(i+1) {
			first++
			return at[0]
		}
		return at[1]
	}
}

const (
	costReaders = 400
	mostCost    = 600
)

// until counts presentations until the half-width of the interval of r95 is 1 mm.
func until(reader *simReader, place placing) int {
	seen, last, read := tally{}, math.NaN(), false
	for i := range mostCost {
		last = place(i, last, read)
		read = reader.reads(last)
		seen.take(last, read)
		if i < 5 {
			continue
		}
		if f := estimate.RangeOf(seen.counts(), estimate.Logit).R95; f.Low != nil && f.High != nil && (*f.High-*f.Low)/2 <= 1 {
			return i + 1
		}
	}
	return mostCost
}

// BenchmarkCost prints how many presentations it takes to know r95 to 1 mm either way
// (slope 1 per mm, cards, their tolerance left out). It fails where the adaptive ones
// are not fewer than half of the fixed grid's, or more than 1.3 times those of an
// optimal design that knows the reader.
func BenchmarkCost(b *testing.B) {
	belief := estimate.NewBelief(cards(), 40)
	for b.Loop() {
		mean := map[string]float64{}
		names := []string{"adaptive", "adaptive, moving freely", "fixed, six spacings", "D-optimal", "c-optimal"}
		for _, name := range names {
			var all []int
			for seed := range uint64(costReaders) {
				reader := newSimReader(1, seed)
				place := fixed()
				switch name {
				case "adaptive":
					place = adaptive(belief, 0.8)
				case "adaptive, moving freely":
					place = adaptive(belief, 2)
				case "D-optimal", "c-optimal":
					place = design(optimal(reader, name == "c-optimal"))
				}
				all = append(all, until(reader, place))
			}
			slices.Sort(all)
			for _, n := range all {
				mean[name] += float64(n) / costReaders
			}
			fmt.Printf("%-26s mean %6.1f median %4d, 90 in 100 by %4d\n", name, mean[name], all[costReaders/2], all[costReaders*9/10])
		}
		if a := mean["adaptive"]; a >= mean["fixed, six spacings"]/2 || a > 1.3*min(mean["D-optimal"], mean["c-optimal"]) {
			b.Errorf("adaptive %.1f, fixed %.1f, optimal %.1f and %.1f", a, mean["fixed, six spacings"], mean["D-optimal"], mean["c-optimal"])
		}
	}
}
