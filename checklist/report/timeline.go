package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"propwright/checklist"
)

// The drawing's size in its own units.
const (
	lineWide, lineRow               = 680.0, 20.0
	lineLeft, lineRight, lineBottom = 46.0, 24.0, 34.0
	lineTop                         = 12.0
	mostShowings                    = 40
)

// drawTimeLine is the picture of a link: a row a tag, with when its coil was written
// and written back. It tells things apart by form and not by colour. Nothing but numbers
// goes into it. "" without anything to draw.
func drawTimeLine(l *checklist.TimeLine) template.HTML {
	if l == nil || len(l.Showings) == 0 || len(l.Showings) > mostShowings {
		return ""
	}
	from, to := 0.0, 100.0
	reach := func(ms *int) {
		if ms != nil {
			from, to = min(from, float64(*ms)), max(to, float64(*ms))
		}
	}
	reach(&l.LimitMS)
	for _, s := range l.Showings {
		reach(s.OnMS)
		reach(s.LeftMS)
		reach(s.OffMS)
	}
	const farthest = 1e7 // what a file from elsewhere may say
	from, to = max(from, -farthest), min(to, farthest)
	bottom := lineTop + lineRow*float64(len(l.Showings))
	x := func(ms float64) float64 {
		return place(lineLeft + (lineWide-lineLeft-lineRight)*(ms-from)/(to-from))
	}
	var b strings.Builder
	add := func(format string, args ...any) { fmt.Fprintf(&b, format, args...) }
	each := math.Pow(10, math.Floor(math.Log10(to-from)))
	for _, part := range []float64{0.2, 0.5, 1} {
		if (to-from)/(each*part) <= 12 {
			each *= part
			break
		}
	}
	for i := math.Ceil(from / each); i*each <= to; i++ {
		add(`<path class="grid" d="M%g %gV%g"/><text class="tick" x="%g" y="%g" text-anchor="middle">%s</text>`, x(i*each), lineTop, bottom, x(i*each), bottom+16, number(i*each/1000))
	}
	add(`<text class="tick" x="%g" y="%g" text-anchor="end">s</text>`, lineWide-2, bottom+16)
	if l.LimitMS > 0 {
		add(`<path class="cover" d="M%g %gV%g"/>`, x(float64(l.LimitMS)), lineTop-8, bottom)
	}
	for i, s := range l.Showings {
		y := lineTop + lineRow*(float64(i)+0.5)
		add(`<text class="tick" x="%g" y="%g" text-anchor="end">%d</text>`, lineLeft-8, y+4, i+1)
		if s.LeftMS != nil {
			add(`<path class="tag" d="M%g %gH%gm0 -5v10"/>`, x(0), y, x(float64(*s.LeftMS)))
		}
		add(`<path class="axis" d="M%g %gv10"/>`, x(0), y-5)
		if s.OnMS != nil {
			off := float64(s.OffByMS)
			add(`<path class="own" d="M%g %gH%g"/><circle class="on" cx="%g" cy="%g" r="4"/>`, x(float64(*s.OnMS)-off), y+6, x(float64(*s.OnMS)+off), x(float64(*s.OnMS)), y)
		}
		if s.OffMS != nil {
			add(`<circle class="trial" cx="%g" cy="%g" r="4"/>`, x(float64(*s.OffMS)), y)
		}
	}
	caption := "Each tag in seconds from the console's word of it. Bar: the tag on the reader, as far as the console tells; full dot: its coil written, with how far off that may be below; open dot: written back."
	if l.LimitMS > 0 {
		caption += fmt.Sprintf(" Dashes: the limit, %s s.", number(float64(l.LimitMS)/1000))
	}
	return template.HTML(fmt.Sprintf(`<figure class="curve timeline"><svg viewBox="0 0 %g %g" role="img" aria-label="tags and coil writes on one time line">%s</svg><figcaption>%s</figcaption></figure>`,
		lineWide, bottom+lineBottom-lineTop, b.String(), caption))
}
