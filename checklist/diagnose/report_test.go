package diagnose_test

import (
	"encoding/json"
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/diagnose"
)

// A step that failed stands for what it was held against: settings that the board echoes
// other than planned (the notes as the settings step words them).
func TestWhatAFailedSettingsStepStandsFor(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	for name, tt := range map[string]struct {
		what, value, limit, note string
		want                     []string
		least                    float64
	}{
		"another prop's coil": {"setting coil", "118", "117", "Echoed coil 118, planned 117. coil 118 belongs to prop lantern.", []string{"coil-taken"}, 0.6},
		"one beside":          {"setting coil", "118", "117", "Echoed coil 118, planned 117.", []string{"coil-offset-by-one", "coil-taken"}, 0.6},
		"in another base":     {"setting coil of reader 1", "279", "117", "Echoed coil 279, planned 117.", []string{"address-number-base", "coil-taken"}, 0.6},
		"mask":                {"setting mask", "255.255.0.0", "255.255.255.0", "Echoed mask 255.255.0.0, planned 255.255.255.0.", []string{"address-settings-wrong"}, 0.6},
		"unit":                {"setting unit", "2", "1", "Echoed unit 2, planned 1.", []string{"unit-id-mismatch"}, 0.6},
	} {
		t.Run(name, func(t *testing.T) {
			limit := checklist.Text(tt.limit)
			found := checklist.Finding{What: tt.what, Verdict: checklist.Failed, Value: checklist.Text(tt.value), Limit: &limit, Note: tt.note}
			direct := k.FailedStep("settings", []checklist.Finding{found})
			text, err := json.Marshal(map[string]any{"steps": []any{map[string]any{"id": "settings", "verdict": checklist.Failed, "findings": []any{found}}}})
			if err != nil {
				t.Fatal(err)
			}
			read, steps, err := k.FailedSteps(strings.NewReader(string(text)))
			if err != nil || len(steps) != 1 || steps[0] != "settings" {
				t.Fatalf("steps %v, %v", steps, err)
			}
			if len(direct) != 2 || len(read) != 2 || direct[1].Observation != read[1].Observation {
				t.Fatalf("evidence %+v, from the report %+v; want one and the same", direct, read)
			}
			res, _, err := k.Diagnose(direct, nil, diagnose.Situation{})
			if err != nil {
				t.Fatal(err)
			}
			if p := sumOf(res, tt.want); place(res, tt.want) != 1 || p < tt.least {
				t.Errorf("%v together %.2f: %s; want first and %.2f at least", tt.want, p, top(res, 4), tt.least)
			}
		})
	}
}

func sumOf(res *diagnose.Result, ids []string) float64 {
	sum := 0.0
	for _, c := range res.Causes {
		for _, id := range ids {
			if c.ID == id {
				sum += c.Probability
			}
		}
	}
	return sum
}
