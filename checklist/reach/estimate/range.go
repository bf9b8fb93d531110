package estimate

import (
	"fmt"
	"strings"
)

// Level is the confidence of every two-sided interval of a range.
const Level = 0.95

// The read rates whose spacings are looked for.
const (
	HalfRate     = 0.50
	ReliableRate = 0.95
)

// A Range is what counts at several spacings tell of how far a tag is read.
type Range struct {
	R50, R95 Figure
	Method   string
	Curve    *Curve // nil where there is none
	Pools    []Pool
	Warnings []string // sentences
	// Coarse says that no spacing between the last that was read and the first that
	// was not was tried, so that how steeply the rate falls is not known.
	Coarse bool
}

// RangeOf estimates the spacings that are read 50 and 95 times in 100. Counts at one
// spacing, or none, give no curve; what is told then is in the warnings.
func RangeOf(counts []Counts, link Link) Range {
	counts = merge(counts)
	r := Range{Pools: Falling(counts)}
	switch len(counts) {
	case 0:
		r.Method = "none"
		r.Warnings = []string{"Nothing was presented, so nothing can be told."}
		return r
	case 1:
		r.one(counts[0])
		return r
	}
	c, err := Fit(counts, link)
	if err != nil {
		return r
	}
	r.Curve = c
	r.Method = fmt.Sprintf("%s regression with Firth's penalty, profile penalised-likelihood intervals, %g %%", link, 100*Level)
	r.R50, r.R95 = c.Range(HalfRate, Level), c.Range(ReliableRate, Level)
	if c.Slope > 0 && c.falls() {
		// A rate that rises has no range; its thresholds would be distances from which on
		// the tag is read.
		r.R50, r.R95 = Figure{}, Figure{}
		r.Warnings = append(r.Warnings, "The read rate rises with the spacing: no range can be told. Look at the spacings, and at what happens close to the antenna.")
	}
	r.widen(counts, link)
	r.separate(counts)
	r.warn(counts)
	return r
}

// fewTrials is how many reads, or misses, are so few that the penalty still weighs on how
// steep a curve may be. Chosen by simulation.
const fewTrials = 10

// widen lets an interval reach as far as the likelihood without the penalty does, where
// the penalty rules out by itself what the counts do not: the steepest curves, where all
// was read up to a spacing and nothing beyond it, and steep ones, where reads or misses
// are few. The interval of r50 hardly depends on them and is left as it is, save where
// nothing was missed or nothing read.
func (r *Range) widen(counts []Counts, link Link) {
	s, ok := stepOf(counts)
	switch {
	case ok:
		r.R95 = hull(r.R95, steepest(counts, link, ReliableRate, Level, s))
		if r.R50.Value == nil {
			r.R50 = hull(r.R50, steepest(counts, link, HalfRate, Level, s))
		}
	case fewest(counts) <= fewTrials && r.R95.Value != nil:
		plain, err := FitPlain(counts, link)
		if err != nil || plain.Slope >= 0 {
			return
		}
		r.R95 = hull(r.R95, plain.Range(ReliableRate, Level))
	default:
		return
	}
	r.Method += "; that of r95 as far as the likelihood without the penalty reaches"
}

// fewest is how often the rarer outcome came.
func fewest(counts []Counts) int {
	reads, misses := 0, 0
	for _, c := range counts {
		reads += c.Read
		misses += c.Presented - c.Read
	}
	return min(reads, misses)
}

// one is what a single spacing tells: a range lies beyond it, or before it, once
// the exact bounds of the read rate there are on one side of the rate asked for.
func (r *Range) one(c Counts) {
	r.Method = fmt.Sprintf("exact binomial interval at one spacing, %g %%", 100*Level)
	low, high := Interval(c.Read, c.Presented, Level)
	for rate, f := range map[float64]*Figure{HalfRate: &r.R50, ReliableRate: &r.R95} {
		at := c.SpacingMM
		if low >= rate {
			f.Low = &at
		}
		if high < rate {
			f.High = &at
		}
	}
	r.Warnings = append(r.Warnings, fmt.Sprintf("One spacing only, %s mm: the read rate there is %s to %s (%d of %d), but how it falls with the spacing cannot be told. Present at two spacings more, one that is read nearly always and one that is read rarely.",
		mm(c.SpacingMM), percent(low), percent(high), c.Read, c.Presented))
}

// separate looks for a spacing that parts reads from misses.
func (r *Range) separate(counts []Counts) {
	lastRead, firstMiss := -1, len(counts)
	for i, c := range counts {
		if c.Read > 0 {
			lastRead = i
		}
		if c.Read < c.Presented && i < firstMiss {
			firstMiss = i
		}
	}
	switch {
	case lastRead < 0:
		r.Warnings = append(r.Warnings, "Nothing was read at any spacing: no range can be told, only that it ends before the smallest spacing tried, if there is one at all.")
	case firstMiss == len(counts):
		r.Warnings = append(r.Warnings, fmt.Sprintf("Nothing was missed at any spacing up to %s mm: the range has no upper end in these trials.", mm(counts[lastRead].SpacingMM)))
	case lastRead < firstMiss:
		from, to := counts[lastRead].SpacingMM, counts[firstMiss].SpacingMM
		r.Coarse = true
		r.Warnings = append(r.Warnings, fmt.Sprintf("All was read up to %s mm and nothing from %s mm on: the spacers are too coarse for how steeply the rate falls. The spacing read half the time can lie anywhere between the two, and within them its interval rests on the penalty; present between them.", mm(from), mm(to)))
	}
}

// warn holds the curve against what assumes less.
func (r *Range) warn(counts []Counts) {
	if where, beyond := Rises(r.Pools); len(where) > 0 {
		why := "chance explains it"
		if beyond {
			why = "more than chance explains: look for a slip, or a tag that drops out close to the antenna"
		}
		r.Warnings = append(r.Warnings, fmt.Sprintf("The read rate does not fall at every spacing (%s); %s.", strings.Join(where, "; "), why))
	}
	if where := disagrees(r.Curve, r.Pools); len(where) > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("The curve and the counts disagree (%s): the figures that rest on the curve are not to be trusted.", strings.Join(where, "; ")))
	}
	first, last := counts[0].SpacingMM, counts[len(counts)-1].SpacingMM
	if v := r.R95.Value; v != nil && *v < 0 {
		r.Warnings = append(r.Warnings, "The curve does not reach 95 reads in 100 even in contact: by it there is no reliable range.")
	} else if v != nil && (*v < first || *v > last) {
		r.Warnings = append(r.Warnings, fmt.Sprintf("The spacing read 95 times in 100, %s mm, lies outside what was tried (%s to %s mm): it is the curve's word alone.", mm(*v), mm(first), mm(last)))
	}
}

// percent prints a share.
func percent(v float64) string { return mm(100*v) + " %" }
