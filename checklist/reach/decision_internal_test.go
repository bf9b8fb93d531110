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

// With the trials of another series counted in, the rule still errs no more often than it
// says: the probabilities are summed over every pair of counts, the first series ended
// early where it is hopeless.
func TestDecisionOnPooledCountsErrsLessThanStated(t *testing.T) {
	table := "\nleast rate   n others   passed just below   failed at the limit   passed at 0.95, alone\n"
	for _, least := range []float64{0.8, 0.9} {
		for _, n := range []int{14, 22} {
			for _, others := range []int{14, 22, 34} {
				p := plan{atCover: n, least: least}
				below, at := pooledOutcomes(least-1e-9, others, p), pooledOutcomes(least, others, p)
				good := pooledOutcomes(0.95, others, p)
				table += fmt.Sprintf("%10g %3d %6d %19.4f %21.4f %16.4f %5.4f\n", least, n, others, below[checklist.Passed], at[checklist.Failed], good[checklist.Passed], outcomes(0.95, p)[checklist.Passed])
				if below[checklist.Passed] > 0.05 || at[checklist.Failed] > 0.05 {
					t.Errorf("least %g, %d and %d others: passed just below %.4f, failed at the limit %.4f; want 0.05 at most", least, n, others, below[checklist.Passed], at[checklist.Failed])
				}
				if sum := at[checklist.Passed] + at[checklist.Failed] + at[checklist.NotConfirmed]; math.Abs(sum-1) > 1e-9 {
					t.Errorf("the probabilities of the verdicts come to %g", sum)
				}
			}
		}
	}
	t.Log(table)
}

// pooledOutcomes are the probabilities of the verdicts on two series of a reader that
// reads with a rate; others has so many presentations.
func pooledOutcomes(rate float64, others int, p plan) map[checklist.Verdict]float64 {
	of := map[checklist.Verdict]float64{}
	for own, w := range series(rate, p.atCover, p.least) {
		for other, v := range series(rate, others, 0) {
			of[pooledVerdict(count{read: own[0], missed: own[1]}, count{read: other[0], missed: other[1]}, p)] += w * v
		}
	}
	return of
}

// series are the probabilities of the reads and misses that n presentations come to,
// fewer where the rule ends them early.
func series(rate float64, n int, least float64) map[[2]int]float64 {
	ended, now := map[[2]int]float64{}, map[[2]int]float64{{}: 1}
	for range n {
		next := map[[2]int]float64{}
		for s, w := range now {
			if s[0]+s[1] > 0 && coverVerdict(n-s[1], n, least) == checklist.Failed {
				ended[s] += w
				continue
			}
			next[[2]int{s[0] + 1, s[1]}] += w * rate
			next[[2]int{s[0], s[1] + 1}] += w * (1 - rate)
		}
		now = next
	}
	for s, w := range now {
		ended[s] += w
	}
	return ended
}
