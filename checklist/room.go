package checklist

import (
	"context"
	"strings"
)

// ExitsCaution goes with everything that may move a door.
var ExitsCaution = Caution{
	Text:     "Exits open by hand and without power, whatever the prop, the controller and this tool do; this step proves no exit.",
	Protects: "taking a prop that works for a way out that opens",
}

var reachCaution = Caution{
	Text:     "Whatever the coil drives will move: nobody within its reach.",
	Protects: "hands and heads caught or struck",
}

// errRoom ends an attempt because nobody said that the room is clear.
type errRoom struct{ refused []Finding }

func (errRoom) Error() string { return "room not said to be clear" }

// mayMove reports whether the step may make a door or a motion in the room move.
func (s *Scene) mayMove() bool {
	drives := s.Item.Drives
	return s.Step.Sitting == Site && (drives == "door" || drives == "motion")
}

// drives reports whether an act can make the board switch its coil.
func (a Act) drives() bool {
	switch a {
	case ActPresent, ActPlace, ActReset, ActSupplyOn, ActUSBIn, ActCableIn:
		return true
	}
	return false
}

// ClearRoom asks, before a coil is made to move something in the room, whether
// the room is empty and watched; ok is false with the finding where that is not
// said. One yes holds for the step while this process goes on with it: who takes
// up a run another day is asked again. Steps need not call it, since no act that
// can switch the coil gets past Instruct without it; one that would have to leave
// things half done asks first.
func (s *Scene) ClearRoom(ctx context.Context) (ok bool, refused []Finding, err error) {
	if !s.mayMove() {
		return true, nil, nil
	}
	here := s.Step.Place()
	answer, asked := s.engine.cleared[here]
	if !asked {
		answer, err = s.put(ctx, Question{
			Key: "room-clear", Kind: AskConfirm, Refuse: true,
			Text:     "This step switches a coil that drives " + s.Item.Drives + ". Is the room empty and watched, and the person responsible for it present?",
			Cautions: CautionTexts([]Caution{reachCaution, ExitsCaution}),
		})
		if err != nil {
			return false, nil, err
		}
		if s.engine.cleared == nil {
			s.engine.cleared = map[Place]Entry{}
		}
		s.engine.cleared[here] = answer
	}
	said := answer.Answer.Text
	if strings.EqualFold(strings.TrimSpace(said), "yes") {
		return true, nil, nil
	}
	return false, []Finding{{
		What: "room clear", How: Stated, Verdict: NotConfirmed, Value: Text(said), Limit: ptr(Text("yes")), Rests: RefsOf(answer),
		Note: "Nothing was switched: it moves something, and nobody said that the room is empty and watched.",
	}}, nil
}

// clear is ClearRoom as an error that ends the attempt.
func (s *Scene) clear(ctx context.Context) error {
	ok, refused, err := s.ClearRoom(ctx)
	if err == nil && !ok {
		return errRoom{refused}
	}
	return err
}

// releaseTested asks, when the sitting in the room of a door prop is signed,
// whether release and power cut were tested; told is false where the prop is none.
func (s *Scene) releaseTested(ctx context.Context) (f Finding, told bool, err error) {
	if s.Step.Sitting != Site || s.Item.Drives != "door" {
		return Finding{}, false, nil
	}
	answer, err := s.Ask(ctx, Question{
		Key: "exit-release", Kind: AskConfirm, Refuse: true,
		Text:     "After this work, has the person responsible tested that the door releases by hand and opens when power is cut?",
		Cautions: CautionTexts([]Caution{ExitsCaution}),
	})
	if err != nil {
		return Finding{}, false, err
	}
	f = Finding{
		What: "release and power cut, tested by the person responsible", How: Stated, Verdict: confirmed(answer.Answer.Text),
		Value: Text(answer.Answer.Text), Limit: ptr(Text("yes")), Rests: RefsOf(answer),
		Note: "Note: a person's word; the tool tested nothing of it, and this report proves no exit.",
	}
	if f.Verdict != Passed {
		f.Verdict = NotConfirmed
		f.Note = "Not before the door is used: the person responsible tests release by hand and with power cut. This report proves no exit."
	}
	return f, true, nil
}
