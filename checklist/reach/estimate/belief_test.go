package estimate_test

import (
	"math"
	"slices"
	"testing"

	"propwright/checklist/reach/estimate"
)

// gain is the information by its definition: the mean over outcomes of how far the
// marginal posterior of the range is from the marginal prior (Kullback and Leibler),
// summed here pair by pair from the same grid of ranges and slopes.
func gain(b pairs, mm float64) float64 {
	sum := 0.0
	for _, read := range []bool{true, false} {
		outcome := 0.0
		prior, joint := map[float64]float64{}, map[float64]float64{}
		for i, w := range b.weight {
			p := 1 / (1 + math.Exp(-(math.Log(19) - b.slope[i]*(mm-b.r95[i]))))
			if !read {
				p = 1 - p
			}
			prior[b.r95[i]] += w
			joint[b.r95[i]] += w * p
			outcome += w * p
		}
		for r, j := range joint {
			if j > 0 {
				sum += j * math.Log(j/outcome/prior[r])
			}
		}
	}
	return sum
}

// pairs are a grid of ranges and slopes with weights, as a Belief is said to be.
type pairs struct{ r95, slope, weight []float64 }

func even() (b pairs) {
	for r := -6.0; r <= 40; r += 0.5 {
		for i := range 13 {
			b.r95 = append(b.r95, r)
			b.slope = append(b.slope, 0.25*math.Pow(24, float64(i)/12))
			b.weight = append(b.weight, 1)
		}
	}
	for i := range b.weight {
		b.weight[i] /= float64(len(b.r95))
	}
	return b
}

func (b pairs) take(mm float64, read bool) {
	sum := 0.0
	for i := range b.weight {
		p := 1 / (1 + math.Exp(-(math.Log(19) - b.slope[i]*(mm-b.r95[i]))))
		if !read {
			p = 1 - p
		}
		b.weight[i] *= max(p, 1e-6)
		sum += b.weight[i]
	}
	for i := range b.weight {
		b.weight[i] /= sum
	}
}

func TestGainsAreTheInformationAboutTheRange(t *testing.T) {
	belief, own := estimate.NewBelief(cards(), 40), even()
	for _, trial := range []struct {
		mm   float64
		read bool
	}{{6, true}, {22.8, false}, {15.2, true}, {19, true}, {20.52, false}} {
		belief.Take(trial.mm, trial.read)
		own.take(trial.mm, trial.read)
		for i, got := range belief.Gains() {
			if want := gain(own, cards()[i]); math.Abs(got-want) > 1e-9 {
				t.Fatalf("gain at %g mm = %.12f; want %.12f", cards()[i], got, want)
			}
		}
	}
}

// A series of presentations ends near where the reader's range is.
func TestNextGoesToWhereTheRangeIs(t *testing.T) {
	for _, edge := range []float64{3, 11, 18, 31} {
		belief, last := estimate.NewBelief(cards(), 40), math.NaN()
		for range 25 {
			last = belief.Next(last, 0.8)
			belief.Take(last, last < edge)
		}
		if math.Abs(last-edge) > 2 {
			t.Errorf("edge at %g mm: the 25th presentation is at %g", edge, last)
		}
		if !slices.Contains(cards(), last) {
			t.Errorf("%g mm cannot be made", last)
		}
	}
}

func TestNextStaysWhereThatTellsNearlyAsMuch(t *testing.T) {
	belief := estimate.NewBelief(cards(), 40)
	best := belief.Next(math.NaN(), 0.8)
	beside := best + 0.76
	if got := belief.Next(beside, 0.8); got != beside {
		t.Errorf("beside the best: goes to %g, want to stay at %g", got, beside)
	}
	if got := belief.Next(beside, 2); got != best {
		t.Errorf("moving freely: %g, want %g", got, best)
	}
	if got := belief.Next(cards()[52], 0.8); got != best {
		t.Errorf("from far off: %g, want %g", got, best)
	}
}

func TestNextStep(t *testing.T) {
	levels := []float64{1, 3, 5}
	for _, tt := range []struct {
		last float64
		read bool
		want float64
	}{{1, true, 3}, {3, true, 5}, {5, true, 5}, {5, false, 3}, {1, false, 1}, {2.9, false, 1}} {
		if got := estimate.NextStep(levels, tt.last, tt.read); got != tt.want {
			t.Errorf("after %g, read %t: %g; want %g", tt.last, tt.read, got, tt.want)
		}
	}
}
