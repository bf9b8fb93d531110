package reach

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"propwright/checklist"
)

// The size of a text plot inside its axes, in characters.
const (
	plotWide = 61
	plotHigh = 17
)

// Plot draws a picture for a terminal: trials as o with the interval of each by itself
// as a bar, the fitted curve as * and its band as dots, the cover's thickness as a
// line. It is plain ASCII and says what its marks are.
func Plot(c *checklist.Curve) string {
	far := 1.0
	for _, t := range c.Trials {
		far = max(far, t.SpacingMM)
	}
	for _, p := range c.Line {
		far = max(far, p.SpacingMM)
	}
	grid := make([][]byte, plotHigh)
	for i := range grid {
		grid[i] = []byte(strings.Repeat(" ", plotWide))
	}
	column := func(mm float64) int { return int(math.Round(mm / far * (plotWide - 1))) }
	row := func(rate float64) int { return int(math.Round((1 - rate) * (plotHigh - 1))) }
	if c.CoverMM != nil && *c.CoverMM <= far {
		for i := range grid {
			grid[i][column(*c.CoverMM)] = ':'
		}
	}
	line := func(x int, of func(checklist.CurvePoint) float64) float64 {
		mm := far * float64(x) / (plotWide - 1)
		for i := 1; i < len(c.Line); i++ {
			if a, b := c.Line[i-1], c.Line[i]; mm <= b.SpacingMM {
				return of(a) + (of(b)-of(a))*(mm-a.SpacingMM)/(b.SpacingMM-a.SpacingMM)
			}
		}
		return of(c.Line[len(c.Line)-1])
	}
	for x := 0; x < plotWide && len(c.Line) > 1; x++ {
		for y := row(line(x, func(p checklist.CurvePoint) float64 { return p.High })); y <= row(line(x, func(p checklist.CurvePoint) float64 { return p.Low })); y++ {
			grid[y][x] = '.'
		}
		grid[row(line(x, func(p checklist.CurvePoint) float64 { return p.Rate }))][x] = '*'
	}
	for _, t := range c.Trials {
		x := column(t.SpacingMM)
		for y := row(t.High); y <= row(t.Low); y++ {
			grid[y][x] = '|'
		}
		grid[row(float64(t.Read)/float64(t.Presented))][x] = 'o'
	}
	var b strings.Builder
	for i, cells := range grid {
		name := ""
		if i%4 == 0 {
			name = strconv.Itoa(100 - 25*i/4)
		}
		fmt.Fprintf(&b, "%4s |%s\n", name, strings.TrimRight(string(cells), " "))
	}
	fmt.Fprintf(&b, "     +%s\n      ", strings.Repeat("-", plotWide))
	for i := range 5 {
		fmt.Fprintf(&b, "%-15s", strconv.FormatFloat(far*float64(i)/4, 'f', 1, 64))
	}
	text := strings.TrimRight(b.String(), " ") + " mm\n"
	text += "      reads in 100 over the spacing; o counted, | its 95 % interval by itself"
	if len(c.Line) > 0 {
		text += ";\n      * fitted curve, . its 95 % band"
	}
	if c.CoverMM != nil {
		text += "; : the cover"
	}
	return text + "\n"
}
