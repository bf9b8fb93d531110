package estimate_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"testing"

	"propwright/checklist/reach/estimate"
)

// table reads counts by two columns of a table of testdata/tables; the dose goes
// through f.
func table(t testing.TB, name, dose, n, k string, f func(float64) float64, keep func(map[string]string) bool) []estimate.Counts {
	t.Helper()
	file, err := os.Open("../../../testdata/tables/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var counts []estimate.Counts
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, cell := range line {
			row[lines[0][i]] = cell
		}
		if keep != nil && !keep(row) {
			continue
		}
		counts = append(counts, estimate.Counts{SpacingMM: f(number(t, row[dose])), Presented: int(number(t, row[n])), Read: int(number(t, row[k]))})
	}
	return counts
}

func same(v float64) float64 { return v }

func beetles(t testing.TB) []estimate.Counts {
	return table(t, "beetle_bliss1935.csv", "log10_dose", "n", "killed", same, nil)
}

func demo9(t testing.TB) []estimate.Counts {
	return table(t, "spacing_demo9_synthetic.csv", "spacing_mm", "n", "reads", same, nil)
}

func separated(t testing.TB) []estimate.Counts {
	return table(t, "spacing_separated_synthetic.csv", "spacing_mm", "n", "reads", same, nil)
}

// want compares one figure after the other.
type want struct {
	name            string
	got, want, near float64
}

func check(t *testing.T, wants ...want) {
	t.Helper()
	for _, w := range wants {
		if !(math.Abs(w.got-w.want) <= w.near) {
			t.Errorf("%s = %.8f; want %.8f within %g", w.name, w.got, w.want, w.near)
		}
	}
}

func value(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// Coefficients computed with R 4.2.2 (glm) and statsmodels 0.13.5, which agree to
// these digits; those of the logit are printed in Dobson (2002), ch. 7, as -60.72
// and 34.27 (from memory). The likelihood-ratio interval is from statsmodels.
func TestBeetlesByLogit(t *testing.T) {
	c, err := estimate.FitPlain(beetles(t), estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	ed50 := c.Range(0.5, 0.95)
	check(t,
		want{"intercept", c.Intercept, -60.717455, 1e-5}, want{"its se", c.InterceptSE, 5.180711, 1e-5},
		want{"slope", c.Slope, 34.270326, 1e-5}, want{"its se", c.SlopeSE, 2.912140, 1e-5},
		want{"covariance", c.Covariance, -15.082151, 1e-5}, want{"deviance", c.Deviance, 11.232231, 1e-5},
		want{"ED50", value(ed50.Value), 1.771721, 1e-6}, want{"low", value(ed50.Low), 1.763982, 1e-6}, want{"high", value(ed50.High), 1.779187, 1e-6},
		want{"ED95", c.Spacing(0.95), 1.857639, 1e-6},
	)
}

func TestBeetlesByProbit(t *testing.T) {
	c, err := estimate.FitPlain(beetles(t), estimate.Probit)
	if err != nil {
		t.Fatal(err)
	}
	// The standard errors of R are by the expected information, as ours are.
	check(t,
		want{"intercept", c.Intercept, -34.935259, 1e-5}, want{"its se", c.InterceptSE, 2.647918, 1e-5},
		want{"slope", c.Slope, 19.727934, 1e-5}, want{"its se", c.SlopeSE, 1.487235, 1e-5},
		want{"deviance", c.Deviance, 10.119758, 1e-5}, want{"ED50", c.Spacing(0.5), 1.770852, 1e-6},
	)
}

// Finney (1947) gives an ED50 of about 4.85 mg/l (from memory); the rest is from R.
func TestRotenone(t *testing.T) {
	counts := table(t, "rotenone_finney1947.csv", "conc_mg_per_l", "n", "killed", math.Log10, nil)
	for link, w := range map[estimate.Link][4]float64{
		estimate.Logit:  {-4.886912, 7.146178, 1.424057, 0.683850},
		estimate.Probit: {-2.887463, 4.213197, 1.738969, 0.685338},
	} {
		c, err := estimate.FitPlain(counts, link)
		if err != nil {
			t.Fatal(err)
		}
		check(t, want{"intercept", c.Intercept, w[0], 1e-5}, want{"slope", c.Slope, w[1], 1e-5},
			want{"deviance", c.Deviance, w[2], 1e-5}, want{"ED50", c.Spacing(0.5), w[3], 1e-6})
	}
}

// Computed with R from the data of Collett (1991).
func TestBudwormMales(t *testing.T) {
	counts := table(t, "budworm_collett1991.csv", "log2_dose", "n", "killed", same, func(row map[string]string) bool { return row["sex"] == "M" })
	c, err := estimate.FitPlain(counts, estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	check(t, want{"intercept", c.Intercept, -2.818555, 1e-5}, want{"slope", c.Slope, 1.258949, 1e-5}, want{"ED50", c.Spacing(0.5), 2.238815, 1e-5})
}

// A falling curve: R's glm, statsmodels for the likelihood-ratio interval, brglm2 and
// plain Python for the penalised fit and its profile.
func TestNineSpacings(t *testing.T) {
	c, err := estimate.FitPlain(demo9(t), estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	r50 := c.Range(0.5, 0.95)
	check(t,
		want{"intercept", c.Intercept, 15.295139, 1e-5}, want{"its se", c.InterceptSE, 3.947131, 1e-5},
		want{"slope", c.Slope, -0.424875, 1e-5}, want{"its se", c.SlopeSE, 0.109005, 1e-5}, want{"deviance", c.Deviance, 0.945203, 1e-5},
		want{"r50", value(r50.Value), 35.999167, 1e-5}, want{"low", value(r50.Low), 33.810483, 1e-5}, want{"high", value(r50.High), 38.199510, 1e-5},
		want{"r80", c.Spacing(0.8), 32.736337, 1e-5}, want{"r95", c.Spacing(0.95), 29.069034, 1e-5}, want{"r99", c.Spacing(0.99), 25.183935, 1e-5},
	)
	if c, err = estimate.Fit(demo9(t), estimate.Logit); err != nil {
		t.Fatal(err)
	}
	r50 = c.Range(0.5, 0.95)
	check(t,
		want{"intercept", c.Intercept, 13.475057, 1e-5}, want{"its se", c.InterceptSE, 3.292372, 1e-5},
		want{"slope", c.Slope, -0.374316, 1e-5}, want{"its se", c.SlopeSE, 0.090772, 1e-5},
		want{"r50", value(r50.Value), 35.999120, 1e-5}, want{"low", value(r50.Low), 33.665265, 1e-4}, want{"high", value(r50.High), 38.337840, 1e-4},
	)
}

// Firth (1993); computed with the R packages brglm and brglm2, the profile with
// separate code in Python and R.
func TestSeparatedTrials(t *testing.T) {
	if _, err := estimate.FitPlain(separated(t), estimate.Logit); !errors.Is(err, estimate.ErrSeparated) {
		t.Errorf("without a penalty: %v; want %v", err, estimate.ErrSeparated)
	}
	c, err := estimate.Fit(separated(t), estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	r50 := c.Range(0.5, 0.95)
	check(t,
		want{"intercept", c.Intercept, 16.106419, 1e-5}, want{"its se", c.InterceptSE, 7.382395, 1e-5},
		want{"slope", c.Slope, -0.460196, 1e-5}, want{"its se", c.SlopeSE, 0.208623, 1e-5},
		want{"r50", value(r50.Value), 34.999015, 1e-5}, want{"low", value(r50.Low), 30.399825, 1e-4}, want{"high", value(r50.High), 39.553294, 1e-4},
	)
	if r95 := c.Range(0.95, 0.95); r95.Low == nil || r95.High == nil || !(*r95.Low < *r95.Value && *r95.Value < *r95.High) {
		t.Errorf("r95 of separated trials: %+v; want both ends", r95)
	}
}

// One trial a spacing: brglm and brglm2. Fieller's interval has no ends here; the
// profile of the slope, -6.070 to -0.00173, excludes a level curve, so that of r50 has.
func TestOneTrialASpacing(t *testing.T) {
	var counts []estimate.Counts
	for x := range 6 {
		counts = append(counts, estimate.Counts{SpacingMM: float64(x + 1), Presented: 1, Read: b2i(x < 3)})
	}
	c, err := estimate.Fit(counts, estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	r50 := c.Range(0.5, 0.95)
	check(t, want{"intercept", c.Intercept, 3.951194, 1e-5}, want{"slope", c.Slope, -1.128912, 1e-5},
		want{"slope's se", c.SlopeSE, 0.854908, 1e-5}, want{"r50", value(r50.Value), 3.5, 1e-5})
	if r50.Low == nil || r50.High == nil {
		t.Errorf("r50 = %+v; want both ends", r50)
	}
}

// For two groups the penalty adds a half to each of the four cells (identity known):
// logarithms of odds 10.5/0.5 and 3.5/7.5.
func TestPenaltyOfTwoGroups(t *testing.T) {
	c, err := estimate.Fit([]estimate.Counts{{SpacingMM: 0, Presented: 10, Read: 10}, {SpacingMM: 1, Presented: 10, Read: 3}}, estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	a := math.Log(10.5 / 0.5)
	check(t, want{"intercept", c.Intercept, a, 1e-9}, want{"slope", c.Slope, math.Log(3.5/7.5) - a, 1e-9})
}

// By symmetry the slope is 0; one spacing of 15 reads has the intercept ln 16 with
// half a read and half a miss added twice (plain Python).
func TestEveryTrialRead(t *testing.T) {
	counts := []estimate.Counts{{10, 5, 5}, {20, 5, 5}, {30, 5, 5}}
	c, err := estimate.Fit(counts, estimate.Logit)
	if err != nil {
		t.Fatal(err)
	}
	check(t, want{"intercept", c.Intercept, math.Log(16), 1e-6}, want{"slope", c.Slope, 0, 1e-9})
	for _, rate := range []float64{0.5, 0.95} {
		if f := c.Range(rate, 0.95); f.Value != nil || f.High != nil {
			t.Errorf("r%g = %+v; want no value and no upper end", 100*rate, f)
		}
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
