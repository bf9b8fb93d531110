package checklist

import (
	"context"
	"fmt"
	"math"
	"strings"
)

// checkWiring asks what only a person can see and measure before power. The
// supply is a reading and so measured; the joints are a person's word.
func checkWiring(ctx context.Context, s *Scene) ([]Finding, error) {
	tolerance, err := s.Step.Float("supply_tolerance")
	if err != nil {
		return nil, err
	}
	built, err := s.Ask(ctx, Question{
		Key: "built", Kind: AskConfirm,
		Text: "Every pin of the reader's header is soldered (a tight fit is no joint), no bridges, the reader is fed from 3.3 V and not 5 V, and the wires are in the order of the wiring plan?",
	})
	if err != nil {
		return nil, err
	}
	findings := []Finding{{
		What: "header, bridges, 3.3 V, wire order", How: Stated, Verdict: confirmed(built.Answer.Text),
		Value: Text(built.Answer.Text), Limit: ptr(Text("yes")), Rests: RefsOf(built),
	}}
	if findings[0].Verdict != Passed {
		findings[0].Note = "Finish the wiring with the power off before anything is connected."
	}
	nominal := s.Item.Board.SupplyV
	supply, err := s.Ask(ctx, Question{
		Key: "supply", Kind: AskFigure, Unit: "V",
		Text: fmt.Sprintf("Voltage of the adapter, not yet connected to the board (planned %g V; red probe where the board takes plus, so a reading below zero is reversed polarity)?", nominal),
	})
	if err != nil {
		return nil, err
	}
	return append(findings, supplyFinding(supply, nominal, tolerance)), nil
}

// confirmed is the verdict on a yes-or-no answer.
func confirmed(text string) Verdict {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "yes", "y":
		return Passed
	case "no", "n":
		return Failed
	default:
		return NotConfirmed
	}
}

func supplyFinding(answer Entry, nominal, tolerance float64) Finding {
	f := Finding{
		What: "adapter voltage and polarity", How: Measured, Rests: RefsOf(answer),
		Limit: ptr(Text(fmt.Sprintf("%.2f V to %.2f V, right polarity", nominal*(1-tolerance), nominal*(1+tolerance)))),
	}
	a := answer.Answer
	if a.Value == nil || a.Unit != "V" {
		f.Verdict, f.Value, f.Note = NotConfirmed, Text("not measured"), "Measure before the first connection; give the figure in V."
		return f
	}
	v := *a.Value
	f.Value = Number(v, "V", fmt.Sprintf("%.2f V", v))
	switch {
	case v < 0:
		f.Verdict, f.Note = Failed, "Reversed polarity: do not connect this adapter."
	case math.Abs(v-nominal) > nominal*tolerance:
		f.Verdict, f.Note = Failed, "Outside the limits: do not connect this adapter."
	default:
		f.Verdict = Passed
	}
	return f
}
