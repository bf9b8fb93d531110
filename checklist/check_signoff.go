package checklist

import (
	"context"
	"fmt"
)

// SignQuestion is the key of the question whether a sitting is to be signed.
const SignQuestion = "sign"

// checkSignOff has the person sign for the sitting, whatever came out: a failed
// run is signed and kept like any other.
func checkSignOff(ctx context.Context, s *Scene) ([]Finding, error) {
	worst, n := Passed, 0
	for place, o := range Outcomes(s.Log.Entries(0), s.engine.Procedure) {
		if place.Sitting == s.Step.Sitting && place.Step != s.Step.ID {
			worst = worst.Worse(o.Verdict)
			n++
		}
	}
	release, door, err := s.releaseTested(ctx)
	if err != nil {
		return nil, err
	}
	answer, err := s.Ask(ctx, Question{
		Key: SignQuestion, Kind: AskConfirm,
		Text: fmt.Sprintf("%d steps decided, the sitting as a whole: %s. The master is with its keeper, and what the report says is what was done. Sign it?", n, worst),
	})
	if err != nil {
		return nil, err
	}
	f := Finding{
		What: "signed by " + answer.Answer.By, How: Stated, Value: Text(answer.Answer.Text), Limit: ptr(Text("yes")), Rests: RefsOf(answer),
		Verdict: confirmed(answer.Answer.Text),
	}
	if f.Verdict == Failed {
		f.Verdict, f.Note = NotConfirmed, "The person did not sign."
	}
	if door {
		return []Finding{f, release}, nil
	}
	return []Finding{f}, nil
}
