package main

import (
	"testing"

	"propwright/checklist"
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
