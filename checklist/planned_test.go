package checklist_test

import (
	"slices"
	"testing"

	"propwright/checklist"
	"propwright/parsers"
)

func event(kind parsers.Kind, fields map[string]string) parsers.Event {
	return parsers.Event{Kind: kind}.Holding(fields)
}

// What a board says is held against the plan by meaning: the contract's faults coil-taken
// and wrong-controller (whose setting is not printed, only dialled), and settings-silent.
func TestAgainstThePlan(t *testing.T) {
	item := checklist.Item{
		Readers:    []checklist.Reader{{Coil: 117}},
		Board:      checklist.BoardPlan{MAC: "02:54:57:00:00:57", IP: "10.77.0.57", Leaving: "reported"},
		Controller: checklist.Controller{Address: "10.77.0.10", Port: 502, Unit: 1},
	}
	setting := func(name, value string) parsers.Event {
		return event(parsers.KindSetting, map[string]string{"name": name, "value": value})
	}
	sound := []parsers.Event{
		setting("coil", "117"), setting("mac", "02-54-57-00-00-57"), setting("unit", "1"), setting("leaving", "reported"),
		event(parsers.KindAddress, map[string]string{"ip": "10.77.0.57"}),
		event(parsers.KindControllerUp, map[string]string{"address": "10.77.0.10:502"}),
	}
	for name, tt := range map[string]struct {
		events []parsers.Event
		unlike []string
		untold []string
	}{
		"as planned":       {events: sound},
		"coil":             {events: append(slices.Clone(sound), setting("coil", "118")), unlike: []string{"setting coil 118, 117"}},
		"controller":       {events: append(slices.Clone(sound), event(parsers.KindControllerDown, map[string]string{"address": "10.77.0.99:502"})), unlike: []string{"setting controller 10.77.0.99:502, 10.77.0.10:502"}},
		"no address yet":   {events: append(slices.Clone(sound), event(parsers.KindAddress, map[string]string{"ip": "0.0.0.0"}))},
		"says little":      {events: sound[2:], untold: []string{"coil", "mac"}},
		"says nothing":     {events: []parsers.Event{event(parsers.KindBoot, nil)}},
		"only the address": {events: sound[4:5]},
	} {
		t.Run(name, func(t *testing.T) {
			findings, alike, untold := item.Against(tt.events)
			var unlike []string
			for _, f := range findings {
				if f.Verdict != checklist.Failed {
					t.Errorf("%s: verdict %q", f.What, f.Verdict)
				}
				unlike = append(unlike, f.What+" "+f.Value.Text+", "+f.Limit.Text)
			}
			if name == "as planned" && !slices.Equal(alike, []string{"coil", "mac", "ip", "controller", "unit", "leaving"}) {
				t.Errorf("alike %q", alike)
			}
			if !slices.Equal(unlike, tt.unlike) || !slices.Equal(untold, tt.untold) {
				t.Errorf("unlike %q, not told %q; want %q and %q", unlike, untold, tt.unlike, tt.untold)
			}
		})
	}
}
