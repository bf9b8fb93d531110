package reach

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// shades are the marks of a heat map in text, from nothing read to all.
const shades = " .:-=+*#%@"

// lines are the different values of a map's places, by rising value.
func lines(offsets []Offset, of func(Offset) float64) []float64 {
	set := map[float64]bool{}
	for _, o := range offsets {
		set[of(o)] = true
	}
	return slices.Sorted(maps.Keys(set))
}

func ofX(o Offset) float64 { return o.XMM }
func ofY(o Offset) float64 { return o.YMM }

// HeatText draws a map for a terminal, the share read in each place as a mark and as
// reads of presentations.
func HeatText(offsets []Offset) string {
	xs, ys := lines(offsets, ofX), lines(offsets, ofY)
	cell := map[[2]float64]string{}
	for _, o := range offsets {
		mark := string(shades[int(math.Round(o.Rate()*float64(len(shades)-1)))])
		cell[[2]float64{o.XMM, o.YMM}] = fmt.Sprintf("%s %d/%d", strings.Repeat(mark, 2), o.Read, o.Presented)
	}
	var b strings.Builder
	for _, y := range slices.Backward(ys) {
		fmt.Fprintf(&b, "%8s |", millimetres(y))
		for _, x := range xs {
			fmt.Fprintf(&b, " %-8s", cell[[2]float64{x, y}])
		}
		text := strings.TrimRight(b.String(), " ")
		b.Reset()
		b.WriteString(text + "\n")
	}
	b.WriteString("         ")
	for _, x := range xs {
		fmt.Fprintf(&b, "  %-7s", millimetres(x))
	}
	return strings.TrimRight(b.String(), " ") + " mm\n         none read \"" + shades + "\" all read\n"
}

// HeatSVG draws a map as a picture of its own: a square for each place, the darker the
// more was read there, with the counts in it and a scale beside it, readable in grey
// print; the target is ringed. Nothing but numbers goes into it.
func HeatSVG(offsets []Offset) string {
	const side, left, top = 44.0, 60.0, 24.0
	xs, ys := lines(offsets, ofX), lines(offsets, ofY)
	wide, high := left+side*float64(len(xs))+130, top+side*float64(max(len(ys), 5))+40
	at := func(o Offset) (x, y float64) {
		i, _ := slices.BinarySearch(xs, o.XMM)
		j, _ := slices.BinarySearch(ys, o.YMM)
		return left + side*float64(i), top + side*float64(len(ys)-1-j)
	}
	grey := func(rate float64) (fill, ink string) {
		v := int(math.Round(255 - 205*rate))
		ink = "#000"
		if rate > 0.5 {
			ink = "#fff"
		}
		return fmt.Sprintf("#%02x%02x%02x", v, v, v), ink
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="12" role="img" aria-label="share read by offset">`+"\n", wide, high)
	for _, o := range offsets {
		x, y := at(o)
		fill, ink := grey(o.Rate())
		fmt.Fprintf(&b, `<rect x="%g" y="%g" width="%g" height="%g" fill="%s" stroke="#666"/><text x="%g" y="%g" text-anchor="middle" fill="%s">%d/%d</text>`+"\n",
			x, y, side, side, fill, x+side/2, y+side/2+4, ink, o.Read, o.Presented)
	}
	if t, ok := Best(offsets); ok {
		x, y := at(Offset{XMM: t.XMM, YMM: t.YMM})
		fmt.Fprintf(&b, `<rect class="target" x="%g" y="%g" width="%g" height="%g" fill="none" stroke="#fff" stroke-width="3"/><rect x="%g" y="%g" width="%g" height="%g" fill="none" stroke="#000" stroke-width="3"/>`+"\n",
			x+4, y+4, side-8, side-8, x, y, side, side)
	}
	for i, v := range xs {
		fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="middle">%s</text>`+"\n", left+side*(float64(i)+0.5), top+side*float64(len(ys))+16, millimetres(v))
	}
	for j, v := range ys {
		fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="end">%s</text>`+"\n", left-6, top+side*(float64(len(ys)-1-j)+0.5)+4, millimetres(v))
	}
	right := left + side*float64(len(xs)) + 30
	for i := range 5 {
		rate := 1 - float64(i)/4
		fill, _ := grey(rate)
		fmt.Fprintf(&b, `<rect class="scale" x="%g" y="%g" width="20" height="%g" fill="%s" stroke="#666"/><text x="%g" y="%g">%d in 100</text>`+"\n",
			right, top+side*float64(i)*0.9, side*0.9, fill, right+26, top+side*(float64(i)+0.5)*0.9+4, int(100*rate))
	}
	fmt.Fprintf(&b, `<text x="%g" y="%g">offset in mm, right and up; ringed: the target</text>`+"\n</svg>\n", left, high-8)
	return b.String()
}
