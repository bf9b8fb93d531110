package link

import (
	"context"
	"fmt"

	"propwright/checklist"
)

const measureRoom = "room-off-and-on"

// roomOffAndOn switches all power of the room off and on, as every evening does, and
// sees the board come back by itself: long before the room's network switch is ready
// the firmware has looked for it.
func (v *service) roomOffAndOn(ctx context.Context) error {
	if err := v.s.Instruct(ctx, checklist.Instruction{
		Act: checklist.ActRoomOff, Text: "Switch the whole room off at its main switch: the prop's supply, and the network switch that the prop is plugged into.",
	}); err != nil {
		return err
	}
	if err := v.s.Observe(ctx, "room off", v.s.Cursor(), v.off, nil); err != nil {
		return err
	}
	c := v.s.Cursor()
	if err := v.s.Instruct(ctx, checklist.Instruction{Act: checklist.ActRoomOn, Text: "Switch the whole room on again, and touch nothing."}); err != nil {
		return err
	}
	on := v.s.Now()
	conn, ok, err := v.s.Await(ctx, c, v.start+v.network, func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) })
	if err != nil {
		return err
	}
	p, first, waited := shown{result: noConnection}, v.readers[0], v.s.Now().Sub(on).Seconds()
	if ok {
		if p, err = show(ctx, v.s, v.showing(first)); err != nil {
			return err
		}
	}
	m := measureOf(measureRoom, first, p, conn)
	m.Value, m.Unit = waited, "s"
	_, err = v.s.Measure(m)
	return err
}

// roomFinding is the finding on it, from its record.
func (v *service) roomFinding() checklist.Finding {
	e := v.s.Measures(measureRoom)[0]
	m := e.Measure
	within := (v.start + v.network).Seconds()
	f := checklist.Finding{
		What: "whole room off and on", How: checklist.Measured, Verdict: checklist.Passed, Rests: append(checklist.RefsOf(e), m.Rests...),
		Value: checklist.Number(m.Value, "s", fmt.Sprintf("in service %.0f s after the room", m.Value)),
		Limit: ptr(checklist.Number(within, "s", fmt.Sprintf("within %g s, by itself", within))),
	}
	switch m.Params["result"] {
	case resultOK:
	case noConnection:
		f.Verdict, f.Value.Text = checklist.Failed, fmt.Sprintf("not back %.0f s after the room", m.Value)
		f.Note = "The board does not find the network after the room was switched on: firmware that looks for it at its start only, before the switch is ready. Until somebody resets it the prop is dead each evening."
	default:
		f.Verdict, f.Value.Text = checklist.Failed, fmt.Sprintf("connected %.0f s after the room, %s", m.Value, m.Params["result"])
	}
	return f
}
