package checklist

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// A Standout is a figure of one board that its neighbours in a batch do not have.
type Standout struct {
	Board   string `json:"board"`
	Step    string `json:"step"`
	Reader  int    `json:"reader"`
	What    string `json:"what"`  // as in the finding
	Value   string `json:"value"` // of this board, for people
	Usual   string `json:"usual"` // of the others
	Of      int    `json:"of"`    // boards compared, this one among them
	Perhaps string `json:"perhaps,omitempty"`
}

// When a figure stands out. The score is the modified z-score of Iglewicz and
// Hoaglin (1993) with their limit of 3.5, as in the NIST/SEMATECH e-Handbook of
// Statistical Methods, 1.3.5.17; the smallest number of boards and the share that
// makes a value the usual one are common practice, no source.
const (
	standoutScore = 3.5
	standoutLeast = 5
	standoutShare = 2.0 / 3
)

// standoutFloor is, by unit, what two figures may differ by and still be the same
// thing: a step of the spacers, what a clock and a hand add (common practice, no
// source).
var standoutFloor = map[string]float64{"mm": 2, "s": 0.25, "V": 0.1, "1": 1}

// perhaps says what a step's odd figure most often comes from (common practice, no
// source).
var perhaps = map[string]string{
	"wiring":      "its adapter",
	"attach":      "its supply, or other firmware",
	"reader-chip": "a joint or a lead of its reader, or another chip than the others have, such as a clone",
	"lights":      "its lamps' leads or polarity",
	"removal":     "a joint or a lead of its reader, or other firmware",
	"range":       "a joint or a lead of its reader, its antenna, or another kind of tag",
	"repeat":      "a joint or a lead of its reader, its antenna, or another kind of tag",
	"link":        "its network lead, or the settings of its firmware",
}

// StandOuts compares what the same steps found at the boards of a batch, by board,
// and returns what stands out: a value that another is usual for, or a figure far
// from the others by the spread that they have. Only what was measured is compared,
// and what fewer than five boards have is not.
func StandOuts(of map[string]map[Place]Outcome) []Standout {
	type key struct {
		place Place
		what  string
	}
	found := map[key]map[string]Quantity{}
	for board, outcomes := range of {
		for place, o := range outcomes {
			for _, f := range o.Findings {
				if f.How != Measured {
					continue
				}
				k := key{place, f.What}
				if found[k] == nil {
					found[k] = map[string]Quantity{}
				}
				found[k][board] = f.Value
			}
		}
	}
	var out []Standout
	for k, values := range found {
		if len(values) < standoutLeast {
			continue
		}
		odd, usual := oddValues(values)
		for _, board := range odd {
			out = append(out, Standout{
				Board: board, Step: k.place.Step, Reader: k.place.Reader, What: k.what,
				Value: values[board].Text, Usual: usual, Of: len(values), Perhaps: perhaps[k.place.Step],
			})
		}
	}
	slices.SortFunc(out, func(a, b Standout) int {
		return cmp.Or(cmp.Compare(a.Board, b.Board), cmp.Compare(a.Step, b.Step), cmp.Compare(a.Reader, b.Reader), cmp.Compare(a.What, b.What))
	})
	return out
}

// oddValues are the boards whose value stands out, and what is usual.
func oddValues(values map[string]Quantity) (odd []string, usual string) {
	for _, q := range values {
		if q.Number == nil || q.Unit == "" {
			return oddWords(values)
		}
	}
	return oddFigures(values)
}

// oddWords finds values that are no figures, where one value is usual.
func oddWords(values map[string]Quantity) (odd []string, usual string) {
	count := map[string]int{}
	for _, q := range values {
		count[q.Text]++
	}
	for text, n := range count {
		if float64(n) >= standoutShare*float64(len(values)) {
			usual = text
		}
	}
	if usual == "" {
		return nil, ""
	}
	for board, q := range values {
		if q.Text != usual {
			odd = append(odd, board)
		}
	}
	return odd, usual
}

// oddFigures finds figures far from the median. Where more than half of them are
// equal the spread is that of the mean deviation, as Iglewicz and Hoaglin have it.
func oddFigures(values map[string]Quantity) (odd []string, usual string) {
	var xs []float64
	unit := ""
	for _, q := range values {
		xs, unit = append(xs, *q.Number), q.Unit
	}
	center := median(xs)
	var off []float64
	mean := 0.0
	for _, x := range xs {
		off = append(off, math.Abs(x-center))
		mean += math.Abs(x-center) / float64(len(xs))
	}
	spread := median(off) / 0.6745
	if spread == 0 {
		spread = 1.253314 * mean
	}
	for board, q := range values {
		d := math.Abs(*q.Number - center)
		within := q.Low != nil && q.High != nil && *q.Low <= center && center <= *q.High
		if d > standoutFloor[unit] && d > standoutScore*spread && !within {
			odd = append(odd, board)
		}
	}
	if unit == "1" {
		unit = ""
	}
	return odd, fmt.Sprintf("median %.4g %s", center, unit)
}

// median is the middle of the values, which are not changed.
func median(values []float64) float64 {
	s := slices.Sorted(slices.Values(values))
	n := len(s)
	if n == 0 {
		return 0
	}
	return (s[(n-1)/2] + s[n/2]) / 2
}
