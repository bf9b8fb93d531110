package estimate_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"propwright/checklist/reach/estimate"
)

// The spacings of a stack of ID-1 cards, 0.76 mm each (ISO/IEC 7810), up to 40 mm.
func cards() []float64 {
	var all []float64
	for i := range 53 {
		all = append(all, float64(i)*0.76)
	}
	return all
}

// A reader of the simulation reads by a logistic law.
type simReader struct {
	r50, slope float64
	random     *rand.Rand
}

func newSimReader(slope float64, seed uint64) *simReader {
	random := rand.New(rand.NewPCG(seed, 17))
	return &simReader{r50: 12 + 16*random.Float64(), slope: slope, random: random}
}

func (r *simReader) reads(mm float64) bool {
	return r.random.Float64() < 1/(1+math.Exp(r.slope*(mm-r.r50)))
}

func (r *simReader) r95() float64 { return r.r50 - math.Log(19)/r.slope }

// fixedMM are the six spacings of the fixed grid, 8 to 43 cards by sevens, which hold
// every reader of the simulation.
var fixedMM = []float64{6.08, 11.40, 16.72, 22.04, 27.36, 32.68}

// A placing says where the next presentation goes.
type placing func(i int, last float64, read bool) float64

// placings are the ways of placing that are compared; each is asked with what came of
// the last presentation.
func adaptive(b *estimate.Belief, stay float64) placing {
	b.Fresh()
	return func(i int, last float64, read bool) float64 {
		if i > 0 {
			b.Take(last, read)
		}
		return b.Next(last, stay)
	}
}

func staircase() placing {
	var levels []float64
	for mm := 0.76; mm < 40; mm += 1.52 {
		levels = append(levels, mm)
	}
	return func(i int, last float64, read bool) float64 {
		if i == 0 {
			return levels[12]
		}
		return estimate.NextStep(levels, last, read)
	}
}

func fixed() placing {
	return func(i int, _ float64, _ bool) float64 { return fixedMM[i%len(fixedMM)] }
}

// A tally counts presentations by spacing.
type tally map[float64]*estimate.Counts

func (t tally) take(mm float64, read bool) {
	if t[mm] == nil {
		t[mm] = &estimate.Counts{SpacingMM: mm}
	}
	t[mm].Presented++
	t[mm].Read += b2i(read)
}

func (t tally) counts() (all []estimate.Counts) {
	for _, c := range t {
		all = append(all, *c)
	}
	return all
}

// A cell counts how often an interval holds the truth.
type cell struct {
	n, r50, r95                        int
	open50Low, open50High              int
	open95Low, open95High, coarse      int
	below50, above50, below95, above95 int
}

func (c *cell) take(r estimate.Range, reader *simReader) {
	c.n++
	holds := func(f estimate.Figure, truth float64) (below, above bool) {
		return f.Low != nil && truth < *f.Low, f.High != nil && truth > *f.High
	}
	below, above := holds(r.R50, reader.r50)
	c.r50 += b2i(!below && !above)
	c.below50 += b2i(below)
	c.above50 += b2i(above)
	below, above = holds(r.R95, reader.r95())
	c.r95 += b2i(!below && !above)
	c.below95 += b2i(below)
	c.above95 += b2i(above)
	c.open50Low += b2i(r.R50.Low == nil)
	c.open50High += b2i(r.R50.High == nil)
	c.open95Low += b2i(r.R95.Low == nil)
	c.open95High += b2i(r.R95.High == nil)
	c.coarse += b2i(r.Coarse)
}

// Each cell of the table has so many readers, and must hold the truth so often.
const (
	readersEach = 2000
	mustHold    = 0.93
)

// coverage walks the named cells.
func coverage(readers int) map[string]*cell {
	cells := map[string]*cell{}
	var mu sync.Mutex
	var wg sync.WaitGroup
	for _, way := range []string{"adaptive", "staircase", "fixed"} {
		for _, slope := range []float64{0.4, 1, 3} {
			wg.Go(func() {
				belief := estimate.NewBelief(cards(), 40)
				own := map[int]*cell{10: {}, 20: {}, 40: {}}
				for seed := range uint64(readers) {
					reader := newSimReader(slope, seed)
					place := map[string]func() placing{"adaptive": func() placing { return adaptive(belief, 0.8) }, "staircase": staircase, "fixed": fixed}[way]()
					seen, last, read := tally{}, math.NaN(), false
					for i := range 40 {
						last = place(i, last, read)
						read = reader.reads(last)
						seen.take(last, read)
						if c := own[i+1]; c != nil {
							c.take(estimate.RangeOf(seen.counts(), estimate.Logit), reader)
						}
					}
				}
				mu.Lock()
				defer mu.Unlock()
				for n, c := range own {
					cells[fmt.Sprintf("%-9s %3g %3d", way, slope, n)] = c
				}
			})
		}
	}
	wg.Wait()
	return cells
}

// BenchmarkCoverage prints how often, in 100, the 95 % intervals hold the truth, how
// often an end is open, and how often the truth lies beyond each end. It fails where a
// cell holds it less than 93 times.
func BenchmarkCoverage(b *testing.B) {
	for b.Loop() {
		cells := coverage(readersEach)
		var out strings.Builder
		fmt.Fprintf(&out, "\nplacement slope   n    r50    r95   open50 low high   open95 low high   too coarse   r50 missed below above  r95 below above\n")
		for _, way := range []string{"adaptive", "staircase", "fixed"} {
			for _, slope := range []float64{0.4, 1, 3} {
				for _, n := range []int{10, 20, 40} {
					name := fmt.Sprintf("%-9s %3g %3d", way, slope, n)
					c := cells[name]
					if least := int(mustHold * float64(c.n)); c.r50 < least || c.r95 < least {
						b.Errorf("%s: r50 held %d, r95 %d times of %d; want %d at least", name, c.r50, c.r95, c.n, least)
					}
					share := func(k int) float64 { return 100 * float64(k) / float64(c.n) }
					fmt.Fprintf(&out, "%s  %6.1f %6.1f   %6.1f %6.1f      %6.1f %6.1f      %6.1f  %6.1f %6.1f %6.1f %6.1f\n", name, share(c.r50), share(c.r95),
						share(c.open50Low), share(c.open50High), share(c.open95Low), share(c.open95High), share(c.coarse), share(c.below50), share(c.above50), share(c.below95), share(c.above95))
				}
			}
		}
		fmt.Print(out.String()) // a benchmark's log is cut short
	}
}
