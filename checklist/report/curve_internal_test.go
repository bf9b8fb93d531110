package report

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"propwright/checklist"
)

func sampleCurve() *checklist.Curve {
	cover := 6.0
	return &checklist.Curve{
		Trials: []checklist.CurveTrial{{SpacingMM: 0, Presented: 3, Read: 3, Low: .44, High: 1}, {SpacingMM: 6, Presented: 14, Read: 14, Low: .78, High: 1}, {SpacingMM: 20, Presented: 4, Read: 1, Low: .05, High: .7}},
		Line:   []checklist.CurvePoint{{SpacingMM: 0, Rate: 1, Low: .9, High: 1}, {SpacingMM: 10, Rate: .97, Low: .8, High: 1}, {SpacingMM: 20, Rate: .3, Low: .1, High: .6}},
		Level:  0.95, CoverMM: &cover,
	}
}

// elements parses the drawing with the standard library's XML reader and counts its
// parts by class.
func elements(t *testing.T, text string) map[string]int {
	t.Helper()
	of := map[string]int{}
	d := xml.NewDecoder(strings.NewReader(text))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return of
		}
		if err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		if e, ok := token.(xml.StartElement); ok {
			for _, a := range e.Attr {
				if a.Name.Local == "class" {
					of[a.Value]++
				}
			}
		}
	}
}

func TestDrawCurveShowsTrialsCurveBandAndCover(t *testing.T) {
	text := string(drawCurve(sampleCurve()))
	got := elements(t, text)
	for class, n := range map[string]int{"trial": 3, "own": 3, "line": 1, "band": 1, "cover": 1, "axis": 1} {
		if got[class] != n {
			t.Errorf("%d of class %s; want %d", got[class], class, n)
		}
	}
	for _, want := range []string{">14/14<", ">1/4<", "cover 6 mm", "95 % band"} {
		if !strings.Contains(text, want) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	// Farther is more to the right, likelier is higher up.
	d := drawing{far: 40}
	if !(d.x(10) < d.x(20) && d.y(0.9) < d.y(0.1)) {
		t.Error("the axes are the wrong way round")
	}
}

func TestDrawCurveWithoutAFitOrData(t *testing.T) {
	if got := drawCurve(nil); got != "" {
		t.Errorf("nothing to draw gives %q", got)
	}
	c := sampleCurve()
	c.Line, c.CoverMM = nil, nil
	got := elements(t, string(drawCurve(c)))
	if got["line"]+got["band"]+got["cover"] != 0 || got["trial"] != 3 {
		t.Errorf("trials alone: %v", got)
	}
}

func TestDrawCurveShowsTheFieldAsAModel(t *testing.T) {
	c := sampleCurve()
	c.Field = []checklist.CurveField{{SpacingMM: 0, FieldAPerM: 10}, {SpacingMM: 20, FieldAPerM: 3.5}}
	text := string(drawCurve(c))
	if got := elements(t, text); got["field"] != 1 || !strings.Contains(text, "a model and not measured") {
		t.Errorf("%v in %s", got, text)
	}
}

// A report from elsewhere may hold any numbers.
func TestDrawCurveOfAnyNumbers(t *testing.T) {
	for _, v := range []float64{0, -1, 1e300, -1e300, math.MaxFloat64, 1e-300} {
		c := sampleCurve()
		c.Trials[0].SpacingMM, c.Line[1].Rate, c.Line[2].SpacingMM, *c.CoverMM, c.Trials[1].High = v, v, v, v, v
		c.Field = []checklist.CurveField{{SpacingMM: v, FieldAPerM: v}, {SpacingMM: 1, FieldAPerM: 1}}
		text := string(drawCurve(c))
		elements(t, text)
		if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Errorf("%g: %s", v, text)
		}
	}
	c := sampleCurve()
	c.Trials = make([]checklist.CurveTrial, mostDrawn+1)
	if got := drawCurve(c); got != "" {
		t.Errorf("%d trials were drawn", len(c.Trials))
	}
}
