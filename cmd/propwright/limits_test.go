package main

import (
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/checklisttest"
	"propwright/checklist/plan"
	"propwright/checklist/reach"
)

// A site's limits reach its range steps also where its procedure says nothing of them,
// and other steps only where they have the parameter.
func TestLimitsReachTheRangeStepsOfOlderProcedures(t *testing.T) {
	p := withLimits(checklist.Procedure{Steps: []checklist.Step{
		{ID: "range", Check: "range"},
		{ID: "link", Check: "link", Params: map[string]any{"delay_pass_s": 0.5}},
		{ID: "wiring", Check: "wiring"},
	}}, map[string]float64{"margin_mm": 3, "far_mm": 30, "delay_pass_s": 0.2})
	ranged, link, wiring := p.Steps[0].Params, p.Steps[1].Params, p.Steps[2].Params
	if ranged["margin_mm"] != 3.0 || ranged["far_mm"] != 30.0 || len(ranged) != 2 {
		t.Errorf("range: %v", ranged)
	}
	if link["delay_pass_s"] != 0.2 || len(link) != 1 || len(wiring) != 0 {
		t.Errorf("link: %v, wiring: %v", link, wiring)
	}
}

// Every limit of a range that site.toml may set is one that the range check reads: a
// value that it must refuse is refused under that name.
func TestTheRangeCheckReadsEveryLimitOfARange(t *testing.T) {
	if len(plan.RangeLimitNames()) != 5 {
		t.Errorf("limits: %v; want margin_mm, far_mm and one for each of three forms", plan.RangeLimitNames())
	}
	for _, name := range plan.RangeLimitNames() {
		p := withLimits(checklist.Procedure{Steps: []checklist.Step{{ID: "range", Sitting: checklist.Bench, Check: "range", Params: map[string]any{
			"contact": int64(3), "at_cover": int64(14), "least_rate": 0.8, "within": 4.0, "lift": 1.0,
		}}}}, map[string]float64{name: -1})
		rig := checklisttest.NewRig(t, "name = \"r\"\n[[step]]\nid = \"range\"\nsitting = \"bench\"\ncheck = \"range\"\n", checklist.Item{Readers: []checklist.Reader{{}}}, checklist.Checks{"range": reach.Range{}}, nil)
		rig.Engine.Procedure = p
		if _, err := rig.Run(t.Context(), checklist.Bench); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v; want it named", name, err)
		}
	}
}
