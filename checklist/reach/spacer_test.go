package reach_test

import (
	"strings"
	"testing"

	"propwright/checklist/reach"
)

func builtin(t testing.TB, name string) reach.Set {
	t.Helper()
	for _, s := range reach.BuiltinSets() {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no set %q", name)
	return reach.Set{}
}

// ISO/IEC 7810 ID-1: 0.76 mm, 0.68 to 0.84 mm; stacks of 1, 5, 10 and 20 are 0.76, 3.8,
// 7.6 and 15.2 mm, each plus or minus n times 0.08 mm in the worst case.
func TestStacksOfCards(t *testing.T) {
	stacks := builtin(t, "cards").Stacks(40)
	if len(stacks) != 52 {
		t.Fatalf("%d stacks up to 40 mm, want 52 (40/0.76)", len(stacks))
	}
	for n, mm := range map[int]float64{1: 0.76, 5: 3.8, 10: 7.6, 20: 15.2} {
		if s := stacks[n-1]; !close(s.MM, mm) || !close(s.ToleranceMM, 0.08*float64(n)) || s.Pieces[0].Count != n {
			t.Errorf("stack of %d: %+v; want %g mm and %g mm either way", n, s, mm, 0.08*float64(n))
		}
	}
	for mm, want := range map[float64]string{6: "8 cards", 0.9: "1 card", 0.2: "", 39.9: "52 cards", 90: "52 cards"} {
		if got := reach.Nearest(stacks, mm).String(); got != want {
			t.Errorf("nearest to %g mm: %q; want %q", mm, got, want)
		}
	}
}

func close(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }

func TestStacksTakeTheFewestPieces(t *testing.T) {
	for _, s := range builtin(t, "sheets").Stacks(40) {
		if s.MM == 13 && s.String() != "1 sheet of 3 mm and 1 sheet of 10 mm" {
			t.Errorf("13 mm: %s", s)
		}
		sum, most := 0.0, 0.0
		for _, p := range s.Pieces {
			for _, k := range builtin(t, "sheets").Spacers {
				if k.Name == p.Name {
					sum += float64(p.Count) * k.ThickMM
					most += float64(p.Count) * k.ToleranceMM
				}
			}
		}
		if !close(sum, s.MM) || !close(most, s.ToleranceMM) {
			t.Errorf("%s: %g mm with %g either way; its pieces come to %g and %g", s, s.MM, s.ToleranceMM, sum, most)
		}
	}
}

func TestParseSpacers(t *testing.T) {
	set, err := reach.ParseSpacers("spacers.toml", []byte(`
[[spacer]]
name = "card"
pile_mm = 30.6 # forty of them between the jaws
calliper_mm = 0.1
count = 40
material = "plastic"
[[spacer]]
name = "tile"
thick_mm = 5
tolerance_mm = 0.2
count = 2
material = "glass"
`))
	if err != nil {
		t.Fatal(err)
	}
	if c := set.Spacers[0]; !close(c.ThickMM, 0.765) || !close(c.ToleranceMM, 0.0025) {
		t.Errorf("card by its pile: %+v; want 0.765 mm with 0.0025 either way", c)
	}
	if set, err = reach.ParseSpacers("spacers.toml", []byte(`use = "cards"`)); err != nil || set.Spacers[0].ThickMM != 0.76 {
		t.Errorf("use cards: %+v, %v", set, err)
	}
	const one = "[[spacer]]\nname = \"x\"\nthick_mm = 1.0\ntolerance_mm = 0.1\ncount = 5\nmaterial = \"wood\"\n"
	for name, tt := range map[string]struct{ text, want string }{
		"nothing":     {"", "spacers.toml: no spacer"},
		"no TOML":     {"[[spacer]\n", "spacers.toml:"},
		"both":        {"use = \"cards\"\n" + one, "beside spacers"},
		"another set": {`use = "coins"`, `use "coins": not known`},
		"metal":       {strings.Replace(one, "wood", "steel", 1), `spacer 1 ("x"): material "steel"`},
		"coin":        {strings.Replace(one, "wood", "coin", 1), `metal shields`},
		"chip":        {one + "chip = true\n", "a chip or an antenna"},
		"negative":    {strings.Replace(one, "1.0", "-1.0", 1), "thick_mm -1: must be"},
		"nan":         {strings.Replace(one, "0.1", "nan", 1), "tolerance_mm NaN"},
		"loose":       {strings.Replace(one, "0.1", "0.9", 1), "tolerance_mm 0.9"},
		"none":        {strings.Replace(one, "5", "0", 1), "count 0"},
		"twice":       {one + one, "there twice"},
		"slip":        {one + "thik_mm = 1\n", `"spacer.thik_mm": not known`},
		"no name":     {strings.Replace(one, `"x"`, `" "`, 1), "name: must be there"},
		"no calliper": {strings.Replace(one, "thick_mm = 1.0\ntolerance_mm = 0.1", "pile_mm = 5", 1), "calliper_mm"},
		"pile, thick": {one + "pile_mm = 5.0\ncalliper_mm = 0.1\n", "instead of thick_mm"},
	} {
		if _, err := reach.ParseSpacers("spacers.toml", []byte(tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v; want %q", name, err, tt.want)
		}
	}
}

func FuzzParseSpacers(f *testing.F) {
	f.Add([]byte("use = \"cards\""))
	f.Add([]byte("[[spacer]]\nname = \"x\"\nthick_mm = 1.0\ntolerance_mm = 0.1\ncount = 5\nmaterial = \"wood\"\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		set, err := reach.ParseSpacers("spacers.toml", text)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q is not one line", err)
			}
			return
		}
		last := 0.0
		for _, s := range set.Stacks(40) {
			if !(s.MM > last) || s.MM > 40.01 || !(s.ToleranceMM >= 0) || s.String() == "" {
				t.Fatalf("stack %+v after %g mm", s, last)
			}
			last = s.MM
		}
	})
}
