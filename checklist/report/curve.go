package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"propwright/checklist"
)

// The drawing's size in its own units, and the margins that its axes' figures need.
const (
	curveWide, curveHigh                         = 680.0, 290.0
	curveLeft, curveRight, curveTop, curveBottom = 46.0, 14.0, 22.0, 40.0
	// mostDrawn bounds what a file from elsewhere can make the page draw.
	mostDrawn = 400
)

// drawCurve is the picture of a finding: what was tried, with each spacing's own
// interval, the fitted curve and its band, and the cover. It tells things apart by
// form and not by colour, so that it can be read in grey print. Nothing but numbers goes
// into it. "" without anything to draw.
func drawCurve(c *checklist.Curve) template.HTML {
	if c == nil || len(c.Trials) == 0 || len(c.Trials) > mostDrawn || len(c.Line) > mostDrawn {
		return ""
	}
	far := 1.0
	for _, t := range c.Trials {
		far = max(far, t.SpacingMM)
	}
	for _, p := range c.Line {
		far = max(far, p.SpacingMM)
	}
	if c.CoverMM != nil {
		far = max(far, *c.CoverMM)
	}
	d := drawing{far: far, high: curveHigh}
	fielded := len(c.Field) > 1 && len(c.Field) <= mostDrawn
	if fielded {
		d.high += fieldHigh
	}
	d.axes()
	d.band(c.Line)
	if c.CoverMM != nil {
		d.cover(*c.CoverMM)
	}
	d.trials(c.Trials)
	if fielded {
		d.field(c.Field)
	}
	caption := fmt.Sprintf("Reads in 100 over the spacing in millimetres. Dots: counted, with how many of how many; bars: the %s %% interval of each by itself.", number(100*c.Level))
	if len(c.Line) > 0 {
		caption += fmt.Sprintf(" Line: the fitted curve; grey: its %s %% band.", number(100*c.Level))
	}
	if c.CoverMM != nil {
		caption += " Dashes: the cover."
	}
	if fielded {
		caption += fmt.Sprintf(" Below: the field on the coil's axis in A/m, a model and not measured; dotted: %s A/m, which every card must work in.", number(leastField))
	}
	return template.HTML(fmt.Sprintf(`<figure class="curve"><svg viewBox="0 0 %g %g" role="img" aria-label="read rate over the spacing">%s</svg><figcaption>%s</figcaption></figure>`,
		curveWide, d.high, d.String(), caption))
}

// A drawing collects the parts of the picture.
type drawing struct {
	strings.Builder
	far  float64 // the spacing at its right edge, mm
	high float64
}

const (
	fieldHigh = 90.0 // of the panel for the field
	// leastField is the field in A/m that every card must work in (ISO/IEC 14443-2, first
	// class, second hand).
	leastField = 1.5
)

func (d *drawing) x(mm float64) float64 {
	return place(curveLeft + (curveWide-curveLeft-curveRight)*mm/d.far)
}

func (d *drawing) y(rate float64) float64 {
	return place(curveTop + (curveHigh-curveTop-curveBottom)*(1-rate))
}

// place keeps a coordinate within reach of the paper and to a tenth.
func place(v float64) float64 { return math.Round(min(max(v, -1e3), 2e3)*10) / 10 }

func (d *drawing) add(format string, args ...any) { fmt.Fprintf(d, format, args...) }

// axes draws a figure for each quarter of the rate, and for round spacings.
func (d *drawing) axes() {
	for i := range 5 {
		rate := float64(i) / 4
		d.add(`<path class="grid" d="M%g %gH%g"/><text class="tick" x="%g" y="%g" text-anchor="end">%d</text>`,
			curveLeft, d.y(rate), curveWide-curveRight, curveLeft-6, d.y(rate)+4, 25*i)
	}
	d.add(`<path class="r95" d="M%g %gH%g"/><text class="tick" x="%g" y="%g" text-anchor="end">95</text>`,
		curveLeft, d.y(0.95), curveWide-curveRight, curveLeft-6, d.y(0.95)+6)
	each := math.Pow(10, math.Floor(math.Log10(d.far)))
	for _, part := range []float64{0.2, 0.5, 1} {
		if d.far/(each*part) <= 12 {
			each *= part
			break
		}
	}
	for i := 0; i <= 12 && float64(i)*each <= d.far; i++ {
		mm := float64(i) * each
		d.add(`<path class="grid" d="M%g %gv5"/><text class="tick" x="%g" y="%g" text-anchor="middle">%s</text>`, d.x(mm), d.y(0), d.x(mm), d.y(0)+18, number(mm))
	}
	d.add(`<text class="tick" x="%g" y="%g" text-anchor="end">mm</text>`, curveWide-curveRight, curveHigh-6)
	d.add(`<path class="axis" d="M%g %gV%gH%g"/>`, curveLeft, d.y(1), d.y(0), curveWide-curveRight)
}

func (d *drawing) band(line []checklist.CurvePoint) {
	if len(line) < 2 {
		return
	}
	points := func(of func(checklist.CurvePoint) float64, line []checklist.CurvePoint) string {
		var b strings.Builder
		for _, p := range line {
			fmt.Fprintf(&b, "%g,%g ", d.x(p.SpacingMM), d.y(of(p)))
		}
		return b.String()
	}
	back := slices.Clone(line)
	slices.Reverse(back)
	d.add(`<polygon class="band" points="%s%s"/>`, points(func(p checklist.CurvePoint) float64 { return p.High }, line),
		strings.TrimSpace(points(func(p checklist.CurvePoint) float64 { return p.Low }, back)))
	d.add(`<polyline class="line" points="%s"/>`, strings.TrimSpace(points(func(p checklist.CurvePoint) float64 { return p.Rate }, line)))
}

func (d *drawing) cover(mm float64) {
	d.add(`<path class="cover" d="M%g %gV%g"/><text class="name" x="%g" y="%g">cover %s mm</text>`, d.x(mm), d.y(1)-8, d.y(0), d.x(mm)+5, d.y(1)-10, number(mm))
}

// field draws the model of the coil's field below, on a scale of its own.
func (d *drawing) field(field []checklist.CurveField) {
	top, bottom, most := curveHigh+6, curveHigh+fieldHigh-8, leastField
	for _, f := range field {
		most = max(most, f.FieldAPerM)
	}
	y := func(v float64) float64 { return place(bottom - (bottom-top)*v/most) }
	var line strings.Builder
	for _, f := range field {
		fmt.Fprintf(&line, "%g,%g ", d.x(f.SpacingMM), y(f.FieldAPerM))
	}
	d.add(`<path class="axis" d="M%g %gV%gH%g"/><polyline class="field" points="%s"/>`, curveLeft, top, bottom, curveWide-curveRight, strings.TrimSpace(line.String()))
	d.add(`<path class="r95" d="M%g %gH%g"/>`, curveLeft, y(leastField), curveWide-curveRight)
	for _, v := range []float64{0, leastField, most} {
		d.add(`<text class="tick" x="%g" y="%g" text-anchor="end">%s</text>`, curveLeft-6, y(v)+4, number(v))
	}
}

// trials draws the counts; a label is left out where the one before is too close.
func (d *drawing) trials(trials []checklist.CurveTrial) {
	last := -100.0
	for _, t := range trials {
		if t.Presented <= 0 {
			continue
		}
		rate := float64(t.Read) / float64(t.Presented)
		x := d.x(t.SpacingMM)
		d.add(`<path class="own" d="M%g %gV%gm-3 0h6M%g %gh6"/><circle class="trial" cx="%g" cy="%g" r="%g"/>`,
			x, d.y(t.High), d.y(t.Low), x-3, d.y(t.High), x, d.y(rate), place(2+min(3, math.Sqrt(float64(t.Presented))/1.6)))
		if x-last >= 26 {
			above := d.y(rate) - 8
			if rate > 0.5 {
				above = d.y(rate) + 17
			}
			d.add(`<text class="name" x="%g" y="%g">%d/%d</text>`, x+5, above, t.Read, t.Presented)
			last = x
		}
	}
}
