package estimate_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"propwright/checklist/reach/estimate"
)

// trials reads an up-and-down series of a table.
func trials(t *testing.T, name, level, outcome string) []estimate.Counts {
	t.Helper()
	var counts []estimate.Counts
	for _, c := range table(t, name, level, level, outcome, same, nil) {
		counts = append(counts, estimate.Counts{SpacingMM: c.SpacingMM, Presented: 1, Read: c.Read})
	}
	return counts
}

// The doses are published (Van Elstraete and others, 2008); the answers were worked
// out in plain Python in two forms, by tally and as a mean of doses. There the
// outcome becomes likelier at higher levels, so a response stands for a miss here.
func TestDixonMoodOnAPublishedSeries(t *testing.T) {
	counts := trials(t, "staircase_vanelstraete2008.csv", "dose", "response")
	for i := range counts {
		counts[i].Read = 1 - counts[i].Read
	}
	s, err := estimate.DixonMood(counts, 1)
	if err != nil || s.N != 21 {
		t.Fatalf("%+v, %v; want 21 trials that count", s, err)
	}
	check(t, want{"mean", s.MeanMM, 291.0 / 14, 1e-6}, want{"V", s.V, 16.489796, 1e-5}, want{"spread", s.SpreadMM, 26.760449, 1e-5})
}

// Worked out in plain Python.
func TestDixonMoodCountsTheRarerOutcome(t *testing.T) {
	counts := trials(t, "staircase_synthetic.csv", "spacing_mm", "read")
	s, err := estimate.DixonMood(counts, 2)
	if err != nil || s.N != 9 {
		t.Fatalf("%+v, %v; want 9 misses", s, err)
	}
	check(t, want{"mean", s.MeanMM, 35.444444, 1e-6}, want{"V", s.V, 0.395062, 1e-6}, want{"spread", s.SpreadMM, 1.373960, 1e-6})
	if !s.Sound {
		t.Error("V above 0.3 does not count as sound")
	}
	// Three misses more at a level of their own make reads, 11 of them, the rarer.
	s, err = estimate.DixonMood(append(counts, estimate.Counts{SpacingMM: 40, Presented: 3}), 2)
	if err != nil || s.N != 11 {
		t.Fatalf("%+v, %v; want 11 reads", s, err)
	}
	check(t, want{"mean", s.MeanMM, 34.818182, 1e-6}, want{"V", s.V, 0.809917, 1e-6}, want{"spread", s.SpreadMM, 2.718092, 1e-6})
}

// The tally of the 1948 paper as remembered (2, 18, 10 and 1 at four levels, low
// confidence); the arithmetic was done in plain Python.
func TestDixonMoodOnTheExplosives(t *testing.T) {
	var counts []estimate.Counts
	for i, n := range []int{2, 18, 10, 1} {
		counts = append(counts, estimate.Counts{SpacingMM: float64(i), Presented: n + 20, Read: n})
	}
	s, err := estimate.DixonMood(counts, 1)
	if err != nil {
		t.Fatal(err)
	}
	check(t, want{"mean", s.MeanMM, 1.822581, 1e-6}, want{"V", s.V, 0.412071, 1e-6}, want{"spread", s.SpreadMM, 0.714535, 1e-6})
}

func TestDixonMoodNeedsAStaircase(t *testing.T) {
	for name, counts := range map[string][]estimate.Counts{
		"nothing": nil, "all read": {{SpacingMM: 1, Presented: 3, Read: 3}},
		"uneven": {{SpacingMM: 1, Presented: 3, Read: 1}, {SpacingMM: 2.5, Presented: 2, Read: 1}},
	} {
		if s, err := estimate.DixonMood(counts, 1); !errors.Is(err, estimate.ErrNoStaircase) {
			t.Errorf("%s: %+v, %v; want %v", name, s, err, estimate.ErrNoStaircase)
		}
	}
}

// rates spreads the pools over the spacings again.
func rates(pools []estimate.Pool) (all []float64) {
	for _, p := range pools {
		for range p.Counts {
			all = append(all, p.Rate())
		}
	}
	return all
}

// R 4.2.2, Iso::pava, weighted.
func TestFallingOfUnequalCounts(t *testing.T) {
	got := rates(estimate.Falling(nonmonotone(t)))
	for i, want := range []float64{1, 17. / 18, 17. / 18, .8, 15. / 22, 15. / 22, .25, .15, 0} {
		if !near(got[i], want, 1e-9) {
			t.Errorf("rate %d = %g; want %g", i, got[i], want)
		}
	}
}

func nonmonotone(t testing.TB) []estimate.Counts {
	return table(t, "spacing_nonmonotone_synthetic.csv", "spacing_mm", "n", "reads", same, nil)
}

// R's isoreg and Iso::pava.
func TestFallingOfEqualCounts(t *testing.T) {
	var counts []estimate.Counts
	for i, k := range []int{10, 10, 9, 10, 7, 8, 3, 1, 0} {
		counts = append(counts, estimate.Counts{SpacingMM: float64(i), Presented: 10, Read: k})
	}
	pools := estimate.Falling(counts)
	got := rates(pools)
	for i, want := range []float64{1, 1, .95, .95, .75, .75, .3, .1, 0} {
		if !near(got[i], want, 1e-12) {
			t.Errorf("rate %d = %g; want %g", i, got[i], want)
		}
	}
	// By a straight line from 0.75 at 5 to 0.3 at 6.
	if r, ok := estimate.FallingRange(pools, 0.5); !ok || !near(r, 5+0.25/0.45, 1e-12) {
		t.Errorf("r50 = %g, %t; want %g", r, ok, 5+0.25/0.45)
	}
	if r, ok := estimate.FallingRange(pools[:2], 0.5); ok {
		t.Errorf("r50 of rates that stay above = %g; want none", r)
	}
}

// r95 and r50 by a search over a grid of slopes and spacings in plain Python.
func TestPenalisedProfileOfTheReliableRange(t *testing.T) {
	r := estimate.RangeOf(demo9(t), estimate.Logit)
	check(t,
		want{"r50 low", value(r.R50.Low), 33.665265, 1e-5}, want{"r50 high", value(r.R50.High), 38.337840, 1e-5},
		want{"r95 low", value(r.R95.Low), 22.473535, 1e-5}, want{"r95", value(r.R95.Value), 28.132940, 1e-5}, want{"r95 high", value(r.R95.High), 31.829550, 1e-5},
	)
	if len(r.Warnings) > 0 || r.Coarse {
		t.Errorf("warnings of good counts: %q", r.Warnings)
	}
	c, err := estimate.Fit(separated(t), estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	f := c.Range(0.95, 0.95)
	check(t, want{"r95 low", value(f.Low), 14.960094, 1e-5}, want{"r95", value(f.Value), 28.600792, 1e-5}, want{"r95 high", value(f.High), 34.629641, 1e-5})
}

// A reader whose rate falls from all to nothing just before 40 mm gives these counts
// almost surely, so its reliable range must lie in the interval.
func TestAStepBetweenSpacingsIsNotRuledOut(t *testing.T) {
	r := estimate.RangeOf(separated(t), estimate.Logit)
	if !r.Coarse || !near(value(r.R95.High), 40, 0.01) || *r.R95.High > 40 || !near(value(r.R95.Low), 14.960094, 1e-5) {
		t.Errorf("r95 = %g to %g, coarse %t; want it up to the miss at 40 mm", value(r.R95.Low), value(r.R95.High), r.Coarse)
	}
	if !strings.Contains(strings.Join(r.Warnings, "\n"), "too coarse") {
		t.Errorf("warnings %q do not say that the spacers are too coarse", r.Warnings)
	}
	// Nothing missed: from the last spacing read on, anything may be; nothing read: the
	// mirror of it.
	r = estimate.RangeOf([]estimate.Counts{{SpacingMM: 10, Presented: 5, Read: 5}, {SpacingMM: 20, Presented: 5, Read: 5}}, estimate.Logit)
	if !near(value(r.R50.Low), 20, 0.01) || r.R50.High != nil || r.R50.Value != nil || r.R95.High != nil {
		t.Errorf("nothing missed up to 20 mm: r50 %+v, r95 %+v; want from 20 mm, without an upper end", r.R50, r.R95)
	}
	r = estimate.RangeOf([]estimate.Counts{{SpacingMM: 10, Presented: 5}, {SpacingMM: 20, Presented: 5}}, estimate.Logit)
	if !near(value(r.R50.High), 10, 0.01) || r.R50.Low != nil || r.R95.Low != nil || r.R95.Value != nil {
		t.Errorf("nothing read from 10 mm on: r50 %+v, r95 %+v; want up to 10 mm, without a lower end", r.R50, r.R95)
	}
}

// Exact bounds (0.05 halved each side: 0.025^(1/60) = 0.940371, so r50 lies beyond the
// spacing and r95 is open).
func TestOneSpacingBoundsWhatItCan(t *testing.T) {
	r := estimate.RangeOf([]estimate.Counts{{SpacingMM: 10, Presented: 60, Read: 60}}, estimate.Logit)
	if value(r.R50.Low) != 10 || r.R50.High != nil || r.R50.Value != nil || r.R95 != (estimate.Figure{}) || r.Curve != nil {
		t.Errorf("r50 %+v, r95 %+v; want r50 from 10 mm and nothing else", r.R50, r.R95)
	}
	if !strings.Contains(strings.Join(r.Warnings, " "), "One spacing only") {
		t.Errorf("warnings %q", r.Warnings)
	}
	if r = estimate.RangeOf(nil, estimate.Logit); r.R50 != (estimate.Figure{}) || len(r.Warnings) == 0 {
		t.Errorf("nothing presented: %+v", r)
	}
}

func TestWhatDoesNotFallIsSaid(t *testing.T) {
	for name, tt := range map[string]struct {
		counts []estimate.Counts
		want   string
	}{
		"within chance": {nonmonotone(t), "chance explains it"},
		"drops out close by": {
			[]estimate.Counts{{SpacingMM: 0, Presented: 6}, {SpacingMM: 6, Presented: 14, Read: 14}, {SpacingMM: 20, Presented: 5, Read: 2}, {SpacingMM: 25, Presented: 5}},
			"more than chance explains",
		},
		"rises": {[]estimate.Counts{{SpacingMM: 10, Presented: 5}, {SpacingMM: 20, Presented: 5, Read: 5}}, "rises with the spacing"},
		// Half is read over a wide stretch, which no logistic curve does.
		"a plateau": {
			[]estimate.Counts{{SpacingMM: 5, Presented: 40, Read: 40}, {SpacingMM: 10, Presented: 40, Read: 20}, {SpacingMM: 15, Presented: 40, Read: 20}, {SpacingMM: 35, Presented: 40, Read: 20}, {SpacingMM: 40, Presented: 40}},
			"disagree",
		},
		"beyond what was tried": {[]estimate.Counts{{SpacingMM: 20, Presented: 10, Read: 8}, {SpacingMM: 22, Presented: 10, Read: 5}, {SpacingMM: 24, Presented: 10, Read: 3}}, "outside what was tried"},
	} {
		if got := strings.Join(estimate.RangeOf(tt.counts, estimate.Logit).Warnings, "\n"); !strings.Contains(got, tt.want) {
			t.Errorf("%s: warnings %q; want %q", name, got, tt.want)
		}
	}
}

// A band at a spacing and an interval of the range are two cuts of one region: where
// the band's end has a rate, that spacing is the end of that rate's range.
func TestBandAndRangeAreOneRegion(t *testing.T) {
	for _, counts := range [][]estimate.Counts{demo9(t), separated(t)} {
		for _, link := range []estimate.Link{estimate.Logit, estimate.Probit} {
			c, err := estimate.Fit(counts, link)
			if err != nil {
				t.Fatal(err)
			}
			for _, mm := range []float64{28, 33, 36, 41} {
				low, high := c.Band(mm, 0.95)
				if rate := c.Rate(mm); !(low < rate && rate < high) {
					t.Errorf("%v at %g mm: band %g to %g without its rate %g", link, mm, low, high, rate)
				}
				for _, end := range []float64{low, high} {
					f := c.Range(end, 0.95)
					if !near(value(f.Low), mm, 1e-4) && !near(value(f.High), mm, 1e-4) {
						t.Errorf("%v: the band ends at %g for %g mm, the range of that rate at %g and %g", link, end, mm, value(f.Low), value(f.High))
					}
				}
			}
		}
	}
}

// Nothing that counts can be makes an estimate panic or hang, or an interval without
// its value.
func FuzzRange(f *testing.F) {
	f.Add([]byte{0, 3, 3, 8, 14, 14, 26, 5, 2, 33, 5, 0})
	f.Add([]byte{10, 60, 60})
	f.Add([]byte{0, 1, 0, 1, 1, 1, 255, 255, 255})
	f.Fuzz(func(t *testing.T, data []byte) {
		var counts []estimate.Counts
		for ; len(data) >= 3 && len(counts) < 20; data = data[3:] {
			n := int(data[1])
			counts = append(counts, estimate.Counts{SpacingMM: float64(data[0]) * 0.76, Presented: n, Read: min(int(data[2]), n)})
		}
		for _, link := range []estimate.Link{estimate.Logit, estimate.Probit} {
			r := estimate.RangeOf(counts, link)
			for _, f := range []estimate.Figure{r.R50, r.R95} {
				for _, p := range []*float64{f.Value, f.Low, f.High} {
					if p != nil && (math.IsNaN(*p) || math.IsInf(*p, 0)) {
						t.Fatalf("%v of %+v: %g", link, counts, *p)
					}
				}
				const slack = 1e-6
				if f.Value != nil && f.Low != nil && *f.Low > *f.Value+slack*(1+math.Abs(*f.Value)) || f.Value != nil && f.High != nil && *f.High < *f.Value-slack*(1+math.Abs(*f.Value)) {
					t.Fatalf("%v of %+v: %g not in %g to %g", link, counts, *f.Value, value(f.Low), value(f.High))
				}
			}
		}
	})
}
