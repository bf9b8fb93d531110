package reach_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"propwright/checklist/reach"
)

// disc is a map of 5 mm steps up to 20 mm each way, on which a tag is read every time
// within a radius of a place and one time in four beyond.
func disc(x0, y0, radius float64) string {
	var b strings.Builder
	b.WriteString("x_mm,y_mm,presented,read\n")
	for x := -20.0; x <= 20; x += 5 {
		for y := -20.0; y <= 20; y += 5 {
			read := 1
			if (x-x0)*(x-x0)+(y-y0)*(y-y0) <= radius*radius {
				read = 4
			}
			fmt.Fprintf(&b, "%g,%g,4,%d\n", x, y, read)
		}
	}
	return b.String()
}

func TestBestIsTheMiddleOfWhatIsRead(t *testing.T) {
	for name, tt := range map[string]struct {
		text string
		want reach.Target
	}{
		// The nearest places beyond 11 mm of the middle of a grid of 5 mm: 10 and 5 off,
		// 11.18 mm.
		"in the middle": {disc(0, 0, 11), reach.Target{RadiusMM: 11.18}},
		"off it":        {disc(-5, 5, 11), reach.Target{XMM: -5, YMM: 5, RadiusMM: 11.18}},
		"everywhere":    {disc(0, 0, 100), reach.Target{RadiusMM: 20, Edge: true}},
	} {
		offsets, err := reach.ReadOffsets(strings.NewReader(tt.text), "m.csv")
		if err != nil {
			t.Fatal(err)
		}
		got, ok := reach.Best(offsets)
		if !ok || got.XMM != tt.want.XMM || got.YMM != tt.want.YMM || got.Edge != tt.want.Edge || got.RadiusMM < tt.want.RadiusMM-0.01 || got.RadiusMM > tt.want.RadiusMM+0.01 {
			t.Errorf("%s: %+v, %t; want %+v", name, got, ok, tt.want)
		}
	}
	none, err := reach.ReadOffsets(strings.NewReader("x_mm,y_mm,presented,read\n0,0,4,3\n"), "m.csv")
	if err != nil {
		t.Fatal(err)
	}
	if got, ok := reach.Best(none); ok {
		t.Errorf("without a place read every time: %+v", got)
	}
}

func TestReadOffsetsJoinsAndRefuses(t *testing.T) {
	offsets, err := reach.ReadOffsets(strings.NewReader("x_mm,y_mm,presented,read\n-5,0,2,1\n-5,0,3,3\n5,0,0,0\n"), "m.csv")
	if err != nil || len(offsets) != 1 || offsets[0] != (reach.Offset{XMM: -5, Presented: 5, Read: 4}) {
		t.Errorf("%+v, %v; want one place with 4 of 5", offsets, err)
	}
	for text, want := range map[string]string{
		"":                                      "m.csv: empty",
		"spacing_mm,presented,read\n":           "m.csv:1: column x_mm: missing",
		"x_mm,y_mm,presented,read\nfar,0,1,1\n": `m.csv:2: column x_mm: "far": not a number`,
		"x_mm,y_mm,presented,read\n0,-2000,1,1\n": `m.csv:2: column y_mm: "-2000": must be -1000 or more`,
		"x_mm,y_mm,presented,read\n0,0,1,2\n":     `m.csv:2: column read: "2": more than the 1 presented`,
	} {
		if _, err := reach.ReadOffsets(strings.NewReader(text), "m.csv"); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v; want %q", text, err, want)
		}
	}
}

// The darker the more was read; the scale has its five steps beside it.
func TestHeatSVGCanBeReadInGrey(t *testing.T) {
	offsets, err := reach.ReadOffsets(strings.NewReader("x_mm,y_mm,presented,read\n0,0,4,4\n5,0,4,2\n10,0,4,0\n"), "m.csv")
	if err != nil {
		t.Fatal(err)
	}
	var fills []string
	scale, targets := 0, 0
	d := xml.NewDecoder(strings.NewReader(reach.HeatSVG(offsets)))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := token.(xml.StartElement)
		if !ok || e.Name.Local != "rect" {
			continue
		}
		at := map[string]string{}
		for _, a := range e.Attr {
			at[a.Name.Local] = a.Value
		}
		switch {
		case at["class"] == "scale":
			scale++
		case at["class"] == "target":
			targets++
		case at["fill"] != "none":
			fills = append(fills, at["fill"])
		}
	}
	// In hex two digits each for three equal parts, so text order is that of lightness.
	if len(fills) != 3 || !(fills[0] < fills[1] && fills[1] < fills[2]) || scale != 5 || targets != 1 {
		t.Errorf("fills %v, scale of %d, %d targets; want three, ever lighter, 5 and 1", fills, scale, targets)
	}
}

func FuzzReadOffsets(f *testing.F) {
	f.Add(disc(0, 0, 11))
	f.Add("read,x_mm,y_mm,presented\n1,2,-3,4\n")
	f.Fuzz(func(t *testing.T, text string) {
		offsets, err := reach.ReadOffsets(strings.NewReader(text), "m.csv")
		if err != nil {
			return
		}
		if target, ok := reach.Best(offsets); ok && !(target.RadiusMM >= 0 && target.RadiusMM <= 2000) {
			t.Fatalf("target %+v", target)
		}
		for _, text := range []string{reach.HeatSVG(offsets), reach.HeatText(offsets)} {
			if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
				t.Fatal(text)
			}
		}
	})
}
