package checklist

import (
	"context"
	"fmt"
	"strings"
)

// WhatConditional is the finding that says until when a prop is in service on a
// short proof only. Reports repeat it as a limitation.
const WhatConditional = "in service, conditional until"

// SymptomQuestion is the key of the question what was wrong with the old board.
const SymptomQuestion = "symptom"

// checkSwapped asks what was wrong with the board that came out, and says by when
// the whole procedure is to be done.
func checkSwapped(ctx context.Context, s *Scene) ([]Finding, error) {
	days, err := s.Step.Int("days")
	if err != nil {
		return nil, err
	}
	old := s.Item.Replaces
	if old == "" {
		old = "the board that came out"
	}
	answer, err := s.Ask(ctx, Question{
		Key: SymptomQuestion, Kind: AskText,
		Text: fmt.Sprintf("What was wrong with %s? One line; put it aside with that written on it.", old),
	})
	if err != nil {
		return nil, err
	}
	day := answer.At.AddDate(0, 0, days).Format("2006-01-02")
	return []Finding{
		{
			What: "set aside", How: Stated, Verdict: Passed, Value: Text(old + ": " + strings.TrimSpace(answer.Answer.Text)), Rests: RefsOf(answer),
		},
		{
			What: WhatConditional, How: Planned, Verdict: Passed, Value: Text(day), Rests: RefsOf(answer),
			Note: fmt.Sprintf("Note: only the short proof was done; by %s the whole procedure new is to be done with this board.", day),
		},
	}, nil
}
