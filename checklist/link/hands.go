package link

import (
	"context"
	"errors"
	"slices"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// handsTime is how long hands may take to do as they are told where only the
// controller's side sees it. From experience, no source.
const handsTime = 15 * time.Second

// hands are what hands have done so far. The tag is the step's own, earlier attempts
// included, so that an interrupted step finds the bench as it left it. Where the
// power comes from outlasts the step: one that is run again because its evidence no
// longer holds finds USB away already, unless a port was opened since.
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
		}
	}
	h.usbOut, h.supplyOn = sources(s.Log.Entries(0))
	return h
}

// sources says where the power comes from as far as hands were told. What they were
// told last before a step was broken off may not have been done: USB then counts as
// in and the own supply as on, so that both are asked for again.
func sources(entries []checklist.Entry) (usbOut, supplyOn bool) {
	var last checklist.Act // with nothing after it that shows that it was done
	for _, e := range entries {
		switch {
		case checklist.IsKind(e, parsers.KindAttached):
			usbOut = false
		case e.Answer != nil || e.Measure != nil:
			last = ""
		case e.Type == checklist.EntryBegin:
			usbOut = usbOut && last != checklist.ActUSBOut
			supplyOn = supplyOn || slices.Contains([]checklist.Act{
				checklist.ActSupplyOn, checklist.ActSupplyOff, checklist.ActRoomOn, checklist.ActRoomOff,
			}, last)
			last = ""
		case e.Instruct == nil:
			continue
		default:
			last = e.Instruct.Act
			switch last {
			case checklist.ActUSBOut, checklist.ActUSBIn:
				usbOut = last == checklist.ActUSBOut
			case checklist.ActSupplyOn, checklist.ActSupplyOff, checklist.ActRoomOn, checklist.ActRoomOff:
				supplyOn = last == checklist.ActSupplyOn || last == checklist.ActRoomOn
			}
		}
	}
	return usbOut, supplyOn
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
