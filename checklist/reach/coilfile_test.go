package reach_test

import (
	"strings"
	"testing"
	"testing/synctest"

	"propwright/checklist"
	"propwright/checklist/reach"
)

const coilText = "radius_mm = 20\nturns = 4\ncurrent_ma = 100\n"

// 31.888526 mm is where the field of that coil falls to 1.5 A/m (computed in plain
// Python from the formula of a loop).
func TestParseCoil(t *testing.T) {
	p, err := reach.ParseCoil("coil.toml", []byte(coilText))
	if err != nil || p.AllowsMM() < 31.8885 || p.AllowsMM() > 31.8886 {
		t.Errorf("allows %g mm, %v; want 31.8885", p.AllowsMM(), err)
	}
	for name, tt := range map[string]struct{ text, want string }{
		"nothing":   {"", "coil.toml: a coil has either a radius or a width and a height"},
		"no TOML":   {"radius_mm = \n", "coil.toml:1: "},
		"slip":      {coilText + "turn = 4\n", `key "turn": not known`},
		"negative":  {strings.Replace(coilText, "20", "-20", 1), "radius -20 mm"},
		"NaN":       {strings.Replace(coilText, "100", "nan", 1), "current NaN A"},
		"plate":     {coilText + "plate_mm = -1\n", "plate_mm -1"},
		"gain":      {coilText + "gain_db = 60\n", "gain_db 60: must be 18 to 48"},
		"least":     {coilText + "least_a_per_m = -1\n", "least_a_per_m -1"},
		"two forms": {coilText + "width_mm = 30\nheight_mm = 30\n", "either a radius"},
	} {
		if _, err := reach.ParseCoil("coil.toml", []byte(tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v; want %q", name, err, tt.want)
		}
	}
}

func FuzzParseCoil(f *testing.F) {
	f.Add([]byte(coilText))
	f.Add([]byte("width_mm = 38\nheight_mm = 38\nturns = 4\ncurrent_ma = 80\nplate_mm = 15\ngain_db = 33\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := reach.ParseCoil("coil.toml", text)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q is not one line", err)
			}
			return
		}
		if mm := p.AllowsMM(); !(mm >= 0 && mm < 1e9) {
			t.Fatalf("allows %g mm", mm)
		}
	})
}

// The model stands beside what was measured, named as a model and with its inputs, and
// changes no verdict.
func TestTheCoilsModelStandsBesideTheRange(t *testing.T) {
	for name, tt := range map[string]struct {
		more string
		edge float64
		want string
	}{
		"as expected":   {"gain_db = 33\n", 25, "Receiver gain from 33 to 48 dB"},
		"with a plate":  {"plate_mm = 10\n", 20, "Without the plate it would be 31.9 mm."},
		"beyond":        {"plate_mm = 5\n", 30, "lies beyond it"},
		"well short of": {"", 12, "falls well short of it"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				coil, err := reach.ParseCoil("coil.toml", []byte(coilText+tt.more))
				if err != nil {
					t.Fatal(err)
				}
				b := newBench(t, func(_ int, mm float64) bool { return mm < tt.edge }, nil)
				b.rig.Engine.Checks["range"] = reach.Range{Coil: &coil}
				o := b.run(t, "range", checklist.Bench)
				f := finding(t, o, "range that the coil allows")
				if f.How != checklist.Planned || !strings.Contains(f.Value.Text, "model") || !strings.Contains(f.Note, "radius 20 mm, 4 turns, 100 mA") || !strings.Contains(f.Note, tt.want) {
					t.Errorf("%+v; want a model with its inputs, and %q", f, tt.want)
				}
				if c := finding(t, o, "range").Curve; len(c.Field) == 0 || o.Verdict != checklist.Passed {
					t.Errorf("verdict %s, field %v", o.Verdict, c.Field)
				}
			})
		})
	}
}
