package reach

import (
	"cmp"
	"errors"
	"io"
	"math"
	"slices"
)

// An Offset is what came of presentations beside the reader's middle, all at one
// spacing.
type Offset struct {
	XMM       float64 `json:"x_mm"` // to the right
	YMM       float64 `json:"y_mm"` // upwards
	Presented int     `json:"presented"`
	Read      int     `json:"read"`
}

// Rate is the share of reads.
func (o Offset) Rate() float64 { return float64(o.Read) / float64(o.Presented) }

// mostOffsets bounds a map, whose best place is looked for pair by pair.
const mostOffsets = 2500

// ReadOffsets reads a map from comma-separated text with the columns x_mm, y_mm,
// presented and read, as ReadTrials reads trials. A place that comes twice counts
// once, with the sum.
func ReadOffsets(r io.Reader, name string) ([]Offset, error) {
	const columnX, columnY = "x_mm", "y_mm"
	var all []Offset
	err := readRows(r, name, []string{columnX, columnY, columnPresented, columnRead}, func(t *trialsReader, cells []string) (int, error) {
		var o Offset
		var errs [3]error
		o.XMM, errs[0] = t.number(cells, columnX, -farthestMM)
		o.YMM, errs[1] = t.number(cells, columnY, -farthestMM)
		o.Presented, o.Read, errs[2] = t.counts(cells)
		for _, err := range errs {
			if err != nil {
				return 0, err
			}
		}
		if o.Presented == 0 {
			return 0, nil
		}
		if i := slices.IndexFunc(all, func(a Offset) bool { return a.XMM == o.XMM && a.YMM == o.YMM }); i >= 0 {
			all[i].Presented += o.Presented
			all[i].Read += o.Read
		} else if all = append(all, o); len(all) > mostOffsets {
			return 0, &TrialsError{File: name, Line: t.line(0), Err: errors.New("too many places for a map")}
		}
		return o.Presented, nil
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(all, func(a, b Offset) int { return cmp.Or(cmp.Compare(b.YMM, a.YMM), cmp.Compare(a.XMM, b.XMM)) })
	return all, nil
}

// A Target is where to put the tag.
type Target struct {
	XMM float64 `json:"x_mm"`
	YMM float64 `json:"y_mm"`
	// RadiusMM is how far off it may land: every place tried closer than that was read
	// every time. Where no miss lies farther off, it ends where the map does.
	RadiusMM float64 `json:"radius_mm"`
	Edge     bool    `json:"edge"` // the map ends there, not the reading
}

// Best is the place from which the nearest miss, or the map's edge, is farthest; ok is
// false where no place was read every time.
func Best(offsets []Offset) (t Target, ok bool) {
	if len(offsets) == 0 {
		return t, false
	}
	low, high := offsets[0], offsets[0]
	for _, o := range offsets {
		low.XMM, low.YMM = min(low.XMM, o.XMM), min(low.YMM, o.YMM)
		high.XMM, high.YMM = max(high.XMM, o.XMM), max(high.YMM, o.YMM)
	}
	for _, o := range offsets {
		if o.Read < o.Presented {
			continue
		}
		// Beyond its outermost places the map knows nothing; a map of one line has no edge
		// across it.
		edge := math.Inf(1)
		for _, d := range [][2]float64{{o.XMM - low.XMM, high.XMM - o.XMM}, {o.YMM - low.YMM, high.YMM - o.YMM}} {
			if d[0]+d[1] > 0 {
				edge = min(edge, d[0], d[1])
			}
		}
		if math.IsInf(edge, 1) {
			edge = 0
		}
		miss := math.Inf(1)
		for _, other := range offsets {
			if other.Read < other.Presented {
				miss = min(miss, math.Hypot(other.XMM-o.XMM, other.YMM-o.YMM))
			}
		}
		here := Target{XMM: o.XMM, YMM: o.YMM, RadiusMM: min(edge, miss), Edge: edge < miss}
		if !ok || here.RadiusMM > t.RadiusMM {
			t, ok = here, true
		}
	}
	return t, ok
}
