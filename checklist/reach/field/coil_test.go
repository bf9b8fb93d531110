package field_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"propwright/checklist/reach/field"
)

func want(t *testing.T, what string, got, want, near float64) {
	t.Helper()
	if !(math.Abs(got-want) <= near) {
		t.Errorf("%s = %.9g; want %.9g within %g", what, got, want, near)
	}
}

// Each row was also integrated by the law of Biot and Savart.
func TestRoundCoil(t *testing.T) {
	f, err := os.Open("../../../testdata/tables/loop_field.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) != 7 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		var v [5]float64
		for i, cell := range row {
			if v[i], err = strconv.ParseFloat(cell, 64); err != nil {
				t.Fatal(err)
			}
		}
		want(t, "field", field.Coil{Turns: v[0], CurrentA: v[1], RadiusM: v[2]}.OnAxis(v[3]), v[4], 1e-8)
	}
	c := field.Coil{Turns: 4, CurrentA: 0.1, RadiusM: 0.02}
	want(t, "at three radii over the centre", c.OnAxis(0.06)/c.OnAxis(0), 0.031623, 1e-6)
	want(t, "down to 1.5 A/m, mm", 1000*c.ReachTo(1.5, 0), 31.888526, 1e-5)
	want(t, "down to 7.5 A/m, mm", 1000*c.ReachTo(7.5, 0), 9.195950, 1e-5)
	want(t, "down to more than there is", c.ReachTo(11, 0), 0, 0)
}

// Finkenzeller, RFID Handbook 2e, 4.1.1.1, p. 65 (as quoted), against the law of Biot
// and Savart to seven digits.
func TestRectangularCoil(t *testing.T) {
	c := field.Coil{Turns: 4, CurrentA: 0.1, WidthM: 0.04, HeightM: 0.06}
	want(t, "centre", c.OnAxis(0), 7.651217, 1e-5)
	want(t, "at 50 mm", c.OnAxis(0.05), 0.791832, 1e-5)
	want(t, "at 30 mm, one turn, 1 A", field.Coil{Turns: 1, CurrentA: 1, WidthM: 0.04, HeightM: 0.06}.OnAxis(0.03), 5.394310, 1e-5)
	want(t, "square of 1 m", field.Coil{Turns: 1, CurrentA: 1, WidthM: 1, HeightM: 1}.OnAxis(0), 2*math.Sqrt2/math.Pi, 1e-6)
}

// The law of Biot and Savart, summed over short straight pieces of a rectangle, for a
// place that no table has.
func TestRectangularCoilAgainstTheIntegral(t *testing.T) {
	const a, b, x, n = 0.035, 0.047, 0.018, 20000
	sum := 0.0
	for _, side := range [][2]float64{{a, b}, {b, a}} {
		for i := range n {
			s := (float64(i)+0.5)/n - 0.5
			r2 := side[1]*side[1]/4 + x*x + s*s*side[0]*side[0]
			sum += 2 * side[0] / n * (side[1] / 2) / (4 * math.Pi * math.Pow(r2, 1.5))
		}
	}
	want(t, "field", field.Coil{Turns: 1, CurrentA: 1, WidthM: a, HeightM: b}.OnAxis(x), sum, 1e-6)
}

// At 50 mm: a radius of 70.7107 mm gives 3.849002 A/m for one ampere and turn (N I over
// three, the root of three and the distance).
func TestBestRadius(t *testing.T) {
	r := field.BestRadius(0.05)
	want(t, "best radius, mm", 1000*r, 70.7107, 1e-4)
	at := func(r float64) float64 { return field.Coil{Turns: 1, CurrentA: 1, RadiusM: r}.OnAxis(0.05) }
	want(t, "its field", at(r), 3.849002, 1e-6)
	for share := 0.5; share < 2; share += 0.01 {
		if at(r*share) > at(r)+1e-12 {
			t.Errorf("a radius of %g mm gives more", 1000*r*share)
		}
	}
}

// A plate in the coil's plane cancels the field, one far behind leaves it; in between
// the mirror image, twice as far behind as the plate, takes its part away: for a round
// coil of 20 mm with the plate 10 mm behind, 10 (1 - 2^-1.5) A/m are left at the centre
// (the factor is that of a place one radius off).
func TestPlateBehind(t *testing.T) {
	c := field.Coil{Turns: 4, CurrentA: 0.1, RadiusM: 0.02}
	want(t, "plate at the coil", c.BeforePlate(0.01, 0), 0, 1e-12)
	want(t, "plate far behind", c.BeforePlate(0.01, 100), c.OnAxis(0.01), 1e-9)
	want(t, "plate 10 mm behind", c.BeforePlate(0, 0.01), 10*(1-math.Pow(2, -1.5)), 1e-9)
	if with, without := c.ReachTo(1.5, 0.005), c.ReachTo(1.5, 0); !(with < without) {
		t.Errorf("reach %g with a plate, %g without", with, without)
	}
}

// Far off the field falls as the cube of the distance and the answer as its sixth
// power: 15 dB more are a factor of 10^(15/20) in amplitude and its sixth root in
// distance, 1.3335.
func TestGainAddsLittle(t *testing.T) {
	c := field.Coil{Turns: 1, CurrentA: 1, RadiusM: 0.001}
	want(t, "15 dB, far off", c.WithGain(1, 15, 0, 0), math.Pow(10, 15.0/120), 1e-5)
	near := field.Coil{Turns: 4, CurrentA: 0.1, RadiusM: 0.02}
	if got := near.WithGain(0.021, 15, 0.025, 0); got != 0.025 {
		t.Errorf("beyond what feeds the card: %g m, want 0.025", got)
	}
	want(t, "nothing added", near.WithGain(0.021, 0, 0.03, 0), 0.021, 1e-9)
}

// Faraday's law for four turns of 80 by 50 mm: 2.5696 V at 1.5 A/m, 12.848 V at 7.5; and
// the resonance after a change of inductance, in MHz.
func TestInducedAndDetuned(t *testing.T) {
	want(t, "at 1.5 A/m", field.Induced(field.LeastField, 4, 0.08*0.05), 2.5696, 1e-3)
	want(t, "at 7.5 A/m", field.Induced(field.MostField, 4, 0.08*0.05), 12.848, 1e-3)
	for share, mhz := range map[float64]float64{-0.01: 13.6283, -0.05: 13.9123, -0.1: 14.2935, -0.2: 15.1605, 0.01: 13.4927, 0.05: 13.2332, 0.1: 12.9290} {
		want(t, "detuned", field.Detuned(share)/1e6, mhz, 1e-4)
	}
}

func TestCheckRefusesWhatIsNoCoil(t *testing.T) {
	good := field.Coil{RadiusM: 0.02, Turns: 4, CurrentA: 0.1}
	if err := good.Check(); err != nil {
		t.Error(err)
	}
	for name, change := range map[string]func(*field.Coil){
		"neither form": func(c *field.Coil) { c.RadiusM = 0 }, "both forms": func(c *field.Coil) { c.WidthM, c.HeightM = 0.04, 0.06 },
		"half a form": func(c *field.Coil) { c.RadiusM, c.WidthM = 0, 0.04 }, "negative": func(c *field.Coil) { c.RadiusM = -1 },
		"NaN": func(c *field.Coil) { c.RadiusM = math.NaN() }, "no turn": func(c *field.Coil) { c.Turns = 0 }, "no current": func(c *field.Coil) { c.CurrentA = 0 },
	} {
		c := good
		change(&c)
		if c.Check() == nil {
			t.Errorf("%s: %+v passes", name, c)
		}
	}
}
