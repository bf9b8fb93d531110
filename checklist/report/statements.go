package report

import (
	"fmt"
	"slices"

	"propwright/checklist"
)

// Exits is the last word of every report.
const Exits = "This report proves no exit. Exits open by hand and without power, independent of prop, controller and this tool; " +
	"after work on a prop that acts on a door, the responsible person tests release and power cut."

// statements hold for every report. The first two answer ISO/IEC 17025:2017,
// 7.8.2.1, l and the note on copies, the third p.
func statements() []string {
	return []string{
		"The results relate only to the item named here, as it was built and set up at the times given.",
		"This report is to be handed on whole; a part of it may mislead.",
		"Figures marked measured were counted or timed by the tool from the board's console and the controller's side. " +
			"Those marked stated are a person's word; those marked planned come from the site's plan. Nothing was taken over from other parties.",
		"Tags are named by a short keyed fingerprint, because a tag's identifier works as a key.",
	}
}

// standingCautions apply whatever the steps were. Common practice, no source.
func standingCautions() []string {
	return []string{"Local codes and licensed practice come first."}
}

// cautions collects what steps and findings warn of, each once, in the order in
// which they came.
func cautions(steps []Step, open []Open) []string {
	var all []string
	add := func(text string) {
		if text != "" && !slices.Contains(all, text) {
			all = append(all, text)
		}
	}
	for _, s := range steps {
		for _, c := range s.Cautions {
			add(c)
		}
		for _, f := range s.Findings {
			add(f.Caution)
		}
	}
	for _, o := range open {
		for _, c := range o.Cautions {
			add(c)
		}
	}
	for _, c := range standingCautions() {
		add(c)
	}
	return all
}

// limitations says what the run's own conditions take away from its result.
func limitations(m Model, own []string) []string {
	all := []string{}
	add := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	if m.Virtual {
		add("The board was a virtual one: nothing here is true of any real board.")
	}
	if m.DemoKey {
		add("The signing key was made for a demonstration: the signature says nothing about who signed.")
	}
	switch m.Clock.Basis {
	case "real":
	case "paced":
		add("Times come from a clock that ran at %g times the real pace.", m.Clock.Pace)
	default:
		add("Times come from a %s clock, not from a real one.", m.Clock.Basis)
	}
	if n := len(m.Open); n > 0 {
		add("%s of the procedure not decided; see what is still open.", steps(n))
	}
	if n := countSteps(m.Steps, checklist.Skipped); n > 0 {
		add("%s skipped: what they would have shown is not known.", steps(n))
	}
	if n := countSteps(m.Steps, checklist.NotConfirmed); n > 0 {
		add("%s not confirmed: nothing was found against them, nor enough for them.", steps(n))
	}
	if day := conditionalUntil(m); day != "" {
		add("In service on a short proof only, conditional until %s: by then the whole procedure new is to be done.", day)
	}
	if len(m.Gaps) > 0 {
		add("The console was not listened to all the time; the gaps are listed.")
	}
	if rest := m.Console.Bytes - m.Console.Read; rest > 0 {
		add("The last %d bytes of the console had not been read when the report was made.", rest)
	}
	return append(all, own...)
}

func countSteps(all []Step, v checklist.Verdict) int {
	n := 0
	for _, s := range all {
		if s.Verdict == v {
			n++
		}
	}
	return n
}

func steps(n int) string {
	if n == 1 {
		return "1 step"
	}
	return fmt.Sprintf("%d steps", n)
}

// conditionalUntil is the day up to which a spare serves on a short proof, "" for
// other reports.
func conditionalUntil(m Model) string {
	for _, s := range m.Steps {
		for _, f := range s.Findings {
			if f.What == checklist.WhatConditional {
				return f.Value.Text
			}
		}
	}
	return ""
}
