package reach

import (
	"fmt"
	"math"
	"testing"

	"propwright/checklist"
)

// outcomes are the exact probabilities of the verdicts at the cover for a reader that
// reads with a rate: every series of reads and misses is walked with the rule that ends
// it early, by the number of each.
func outcomes(rate float64, p plan) map[checklist.Verdict]float64 {
	of := map[checklist.Verdict]float64{}
	type state struct{ read, missed int }
	now := map[state]float64{{}: 1}
	for range p.atCover {
		next := map[state]float64{}
		for s, w := range now {
			c := count{read: s.read, missed: s.missed}
			if c.n() > 0 && coverVerdict(p.atCover-c.missed, p.atCover, p.least) == checklist.Failed {
				of[checklist.Failed] += w // no more are asked for
				continue
			}
			next[state{s.read + 1, s.missed}] += w * rate
			next[state{s.read, s.missed + 1}] += w * (1 - rate)
		}
		now = next
	}
	for s, w := range now {
		of[coverVerdict(s.read, s.read+s.missed, p.least)] += w
	}
	return of
}

// The rule promises 95 %: a reader just below the limit is passed, and one at the limit
// is failed, less than 5 times in 100, whatever the number of presentations and though a
// hopeless series ends early. The probabilities are exact.
func TestDecisionAtTheCoverErrsLessThanStated(t *testing.T) {
	table := "\nleast rate   n   passed just below   failed at the limit   passed at 0.98\n"
	for _, least := range []float64{0.5, 0.8, 0.9, 0.95} {
		for _, n := range []int{5, 14, 22, 29, 60} {
			p := plan{atCover: n, least: least}
			below, at, good := outcomes(least-1e-9, p), outcomes(least, p), outcomes(0.98, p)
			table += fmt.Sprintf("%10g %3d %19.4f %21.4f %16.4f\n", least, n, below[checklist.Passed], at[checklist.Failed], good[checklist.Passed])
			if below[checklist.Passed] > 0.05 || at[checklist.Failed] > 0.05 {
				t.Errorf("least %g, %d presentations: passed just below %.4f, failed at the limit %.4f; want 0.05 at most", least, n, below[checklist.Passed], at[checklist.Failed])
			}
			sum := at[checklist.Passed] + at[checklist.Failed] + at[checklist.NotConfirmed]
			if math.Abs(sum-1) > 1e-9 {
				t.Errorf("the probabilities of the verdicts come to %g", sum)
			}
		}
	}
	t.Log(table)
}

// 14 of 14 at a rate of 0.80 have the probability 0.8^14 = 0.04398; six misses or more
// 0.04385 (binomial formula).
func TestDecisionProbabilitiesOfTheBuiltInStep(t *testing.T) {
	got := outcomes(0.8, plan{atCover: 14, least: 0.8})
	if math.Abs(got[checklist.Passed]-0.0439805) > 1e-6 || math.Abs(got[checklist.Failed]-0.0438) > 1e-4 {
		t.Errorf("%v; want passed 0.04398, failed 0.0438", got)
	}
}
