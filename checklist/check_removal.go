package checklist

import (
	"context"
	"fmt"

	"propwright/parsers"
)

// checkRemoval lets a tag lie still and then lifts it: leaving is told once, at
// the end, or never, as planned.
func checkRemoval(ctx context.Context, s *Scene) ([]Finding, error) {
	still, err := s.Step.Seconds("still")
	if err != nil {
		return nil, err
	}
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	placed, ok, err := s.Present(ctx, Presentation{Role: RoleShow, Act: ActPlace, Within: within, Kinds: []parsers.Kind{parsers.KindCardAccepted, parsers.KindTagPresent}})
	if err != nil {
		return nil, err
	}
	if !ok {
		return []Finding{{What: "tag lying still", How: Measured, Verdict: NotConfirmed, Value: Text("tag not seen"), Rests: RefsOf(s.Earlier()...)}}, nil
	}
	c := CursorAt(placed.N)
	absences := []Entry{}
	if err := s.Observe(ctx, "tag lying still", c, still, func(e Entry) {
		if s.isKind(e, parsers.KindTagAbsent) {
			absences = append(absences, e)
		}
	}); err != nil {
		return nil, err
	}
	if err := s.Instruct(ctx, Instruction{Act: ActTake, Role: RoleShow, Reader: s.Reader().Index, Text: "Lift the tag now."}); err != nil {
		return nil, err
	}
	left, reported, err := s.AwaitKind(ctx, c, within, parsers.KindTagAbsent)
	if err != nil {
		return nil, err
	}
	return []Finding{flickerFinding(absences, placed, still.Seconds()), s.leavingFinding(reported, left, placed)}, nil
}

func flickerFinding(absences []Entry, placed Entry, seconds float64) Finding {
	n := float64(len(absences))
	f := Finding{
		What: "tag lying still", How: Measured, Verdict: Passed,
		Value: Number(n, "1", fmt.Sprintf("%.0f absences in %g s while the tag lay still", n, seconds)),
		Limit: ptr(Number(0, "1", "none")), Rests: RefsOf(append([]Entry{placed}, absences...)...),
	}
	if n > 0 {
		f.Verdict = Failed
		f.Note = "The reader loses a tag that lies still: debounce in the firmware, or the tag at the edge of the range."
	}
	return f
}

func (s *Scene) leavingFinding(reported bool, left, placed Entry) Finding {
	planned := s.Item.Board.Leaving
	f := Finding{What: "leaving", How: Measured, Verdict: Passed, Value: Text("silent"), Limit: ptr(Text(planned)), Rests: RefsOf(placed)}
	if reported {
		f.Value, f.Rests = Text("reported"), RefsOf(placed, left)
	}
	switch {
	case planned == "":
		f.Limit = nil
	case f.Value.Text != planned:
		f.Verdict = Failed
		f.Note = fmt.Sprintf("Leaving is %s, planned is %s.", f.Value.Text, planned)
	}
	return f
}
