package diagnose_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/fstest"

	"propwright/checklist/diagnose"
)

// BenchmarkAnswer is one whole answer, next test included, for 100 causes, 150 findings
// (40 of them seen) and 80 tests; "sums alone" is the baseline: the posterior and nothing
// else. An answer is to take less than 50 ms.
func BenchmarkAnswer(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	var text strings.Builder
	text.WriteString("[model]\nnothing_wrong = 10\npairs = 0.06\nslip = 0.02\nunfamiliar = 0.4\nopen = 5\ncheck = 3\n")
	text.WriteString(strings.Replace(causeText("something-else", 3, 90), "\"a\"", "\"none\"", 1))
	for c := range 99 {
		text.WriteString(causeText(fmt.Sprintf("c%d", c), 0.3+4*rng.Float64(), 3+30*rng.Float64()))
	}
	for f := range 150 {
		under := map[string][]float64{}
		for range 12 {
			p := 0.3 + 0.6*rng.Float64()
			under[fmt.Sprintf("c%d", rng.IntN(99))] = []float64{1 - p, 0.7 * p, 0.3 * p}
		}
		text.WriteString(findingText(fmt.Sprintf("f%d", f), []float64{0.92, 0.06, 0.02}, under))
	}
	for t := range 80 {
		fmt.Fprintf(&text, "[[test]]\nid = \"t%d\"\nfinding = \"f%d\"\nask = \"a\"\nminutes = %.2f\nwhy = \"w\"\n", t, 70+t, 0.5+5*rng.Float64())
	}
	k, err := diagnose.Load(diagnose.LoadOptions{Only: fstest.MapFS{"k.toml": {Data: []byte(text.String())}}})
	if err != nil {
		b.Fatal(err)
	}
	var seen []diagnose.Evidence
	var obs []diagnose.Observation
	for f := range 40 {
		o := diagnose.Observation{Finding: f, Value: 0}
		if f%9 == 0 {
			o.Value = 1
		}
		seen, obs = append(seen, diagnose.Evidence{Observation: o}), append(obs, o)
	}
	b.Run("whole answer", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := k.Diagnose(seen, nil, diagnose.Situation{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("sums alone", func(b *testing.B) {
		for b.Loop() {
			if _, err := k.Prior().Given(obs...); err != nil {
				b.Fatal(err)
			}
		}
	})
}
