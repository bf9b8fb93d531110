package link

import (
	"context"
	"errors"
	"strings"
	"time"

	"propwright/checklist"
)

// handsTime is how long hands may take to do as they are told where only the
// controller's side sees it. From experience, no source.
const handsTime = 15 * time.Second

// hands are what the step has had done so far, earlier attempts included, so that
// an interrupted step finds the bench as it left it.
type hands struct{ tagOn, usbOut, supplyOn bool }

func handsOf(s *checklist.Scene) (h hands) {
	for _, e := range s.Earlier() {
		if e.Instruct == nil {
			continue
		}
		switch e.Instruct.Act {
		case checklist.ActPlace:
			h.tagOn = true
		case checklist.ActTake, checklist.ActClear:
			h.tagOn = false
		case checklist.ActUSBOut, checklist.ActUSBIn:
			h.usbOut = e.Instruct.Act == checklist.ActUSBOut
		case checklist.ActSupplyOn, checklist.ActSupplyOff:
			h.supplyOn = e.Instruct.Act == checklist.ActSupplyOn
		}
	}
	return h
}

// tidy lifts the tag that an interruption left on the reader. A cable that was
// out is in again: the engine asks for that before a step with a console goes on.
func tidy(ctx context.Context, s *checklist.Scene) error {
	if !handsOf(s).tagOn {
		return nil
	}
	return s.Instruct(ctx, checklist.Instruction{Act: checklist.ActTake, Role: checklist.RoleShow, Text: "Lift the tag, if it still lies there."})
}

// A Switch turns the controller's side off and on; *StandIn is one.
type Switch interface {
	Pause() error
	Resume() error
}

// absent reports whether there is no stand-in.
func absent(sw Switch) bool {
	s, own := sw.(*StandIn)
	return sw == nil || (own && s == nil)
}

func noStandIn() []checklist.Finding {
	return []checklist.Finding{{
		What: "stand-in controller", How: checklist.Planned, Verdict: checklist.NotConfirmed, Value: checklist.Text("no stand-in: give --listen"),
		Note: "Without the controller's side nobody sees the coil.",
	}}
}

// clearRoom asks, before a coil is made to move something on site, whether the
// room is empty and watched. go is false with the finding where it is not said.
func clearRoom(ctx context.Context, s *checklist.Scene) (ok bool, refused []checklist.Finding, err error) {
	drives := s.Item.Drives
	if s.Step.Sitting != checklist.Site || (drives != "door" && drives != "motion") {
		return true, nil, nil
	}
	answer, err := s.Ask(ctx, checklist.Question{
		Key: "room-clear", Kind: checklist.AskConfirm,
		Text: "This step switches a coil that drives " + drives + ". Is the room empty and watched, and the person responsible for it present?",
		Cautions: []string{
			"Whatever the coil drives will move: nobody within its reach.",
			"Exits open by hand and without power, whatever the prop, the controller and this tool do; this step proves no exit.",
		},
	})
	if err != nil {
		return false, nil, err
	}
	if strings.EqualFold(strings.TrimSpace(answer.Answer.Text), "yes") {
		return true, nil, nil
	}
	return false, []checklist.Finding{{
		What: "room clear", How: checklist.Stated, Verdict: checklist.NotConfirmed, Value: checklist.Text(answer.Answer.Text), Limit: ptr(checklist.Text("yes")),
		Rests: checklist.RefsOf(answer), Note: "Nothing was switched: it moves something, and nobody said that the room is empty and watched.",
	}}, nil
}

// figures reads several parameters in seconds.
func figures(st checklist.Step, into map[string]*time.Duration) error {
	var errs []error
	for name, d := range into {
		v, err := st.Seconds(name)
		*d = v
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// readers are those of the item, one where the plan lists none.
func readers(it checklist.Item) []checklist.Reader {
	if len(it.Readers) == 0 {
		return []checklist.Reader{{Coil: -1}}
	}
	return it.Readers
}

func ptr[T any](v T) *T { return &v }
