package estimate_test

import (
	"math/rand/v2"
	"testing"

	"propwright/checklist/reach/estimate"
)

// manyTrials are 10,000 trials of one reader, each at a spacing of its own or on a
// stack of cards.
func manyTrials(each bool) []estimate.Counts {
	reader := &simReader{r50: 20, slope: 1, random: rand.New(rand.NewPCG(1, 2))}
	var all []estimate.Counts
	for i := range 10000 {
		mm := cards()[i%53]
		if each {
			mm = 40 * reader.random.Float64()
		}
		all = append(all, estimate.Counts{SpacingMM: mm, Presented: 1, Read: b2i(reader.reads(mm))})
	}
	return all
}

// The promise is 10 ms for a fit of 10,000 trials; the first is the curve alone,
// the second with the intervals of r50 and r95 and all checks.
func BenchmarkFit(b *testing.B) {
	for name, each := range map[string]bool{"10000 trials on 53 spacings": false, "10000 trials on as many spacings": true} {
		counts := manyTrials(each)
		b.Run("curve, "+name, func(b *testing.B) {
			for b.Loop() {
				if _, err := estimate.Fit(counts, estimate.Logit); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run("baseline: without the penalty, "+name, func(b *testing.B) {
			for b.Loop() {
				if _, err := estimate.FitPlain(counts, estimate.Logit); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run("range, "+name, func(b *testing.B) {
			for b.Loop() {
				estimate.RangeOf(counts, estimate.Logit)
			}
		})
	}
	few := demo9(b)
	b.Run("range, 90 trials on 9 spacings", func(b *testing.B) {
		for b.Loop() {
			estimate.RangeOf(few, estimate.Logit)
		}
	})
}

// The promise is 5 ms for the next spacing, after 40 presentations that are all taken
// again as a step does; the baseline is the staircase.
func BenchmarkNext(b *testing.B) {
	b.Run("baseline: staircase", func(b *testing.B) {
		levels := cards()
		for b.Loop() {
			estimate.NextStep(levels, 20, true)
		}
	})
	b.Run("adaptive", benchmarkAdaptive)
}

func benchmarkAdaptive(b *testing.B) {
	reader := newSimReader(1, 1)
	for b.Loop() {
		belief := estimate.NewBelief(cards(), 40)
		last := 20.0
		for range 40 {
			belief.Take(last, reader.reads(last))
		}
		belief.Next(last, 0.8)
	}
}
