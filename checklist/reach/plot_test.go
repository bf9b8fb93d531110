package reach_test

import (
	"strings"
	"testing"

	"propwright/checklist/reach"
	"propwright/checklist/reach/estimate"
)

// marks finds the places of a mark in a plot, by row and column inside the axes.
func marks(plot string, mark byte) (at [][2]int) {
	for y, line := range strings.Split(plot, "\n") {
		_, cells, ok := strings.Cut(line, " |")
		for x := 0; ok && x < len(cells); x++ {
			if cells[x] == mark {
				at = append(at, [2]int{y, x})
			}
		}
	}
	return at
}

func TestPlotPutsTrialsWhereTheyBelong(t *testing.T) {
	r := estimate.RangeOf([]estimate.Counts{{SpacingMM: 0, Presented: 10, Read: 10}, {SpacingMM: 20, Presented: 10, Read: 5}, {SpacingMM: 40, Presented: 10}}, estimate.Logit)
	c := reach.Picture(r)
	cover := 6.0
	c.CoverMM = &cover
	plot := reach.Plot(c)
	// Seventeen rows from 100 down to 0; 61 columns up to 1.08 times 40 mm, so that 20 mm
	// is column 27.8 and 40 mm column 55.6.
	want := [][2]int{{0, 0}, {8, 28}, {16, 56}}
	got := marks(plot, 'o')
	if len(got) != 3 || got[0] != want[0] || got[1] != want[1] || got[2] != want[2] {
		t.Errorf("trials at %v; want %v\n%s", got, want, plot)
	}
	for _, mark := range []byte{'*', '.', '|', ':'} {
		if len(marks(plot, mark)) == 0 {
			t.Errorf("no %c in\n%s", mark, plot)
		}
	}
	for _, line := range strings.Split(plot, "\n") {
		if len(line) > 80 {
			t.Errorf("%d columns: %q", len(line), line)
		}
	}
}

func TestPictureOfOneSpacingHasNoCurve(t *testing.T) {
	c := reach.Picture(estimate.RangeOf([]estimate.Counts{{SpacingMM: 10, Presented: 5, Read: 5}}, estimate.Logit))
	if len(c.Line) != 0 || len(c.Trials) != 1 || strings.Contains(reach.Plot(c), "fitted curve") {
		t.Errorf("%+v", c)
	}
}
