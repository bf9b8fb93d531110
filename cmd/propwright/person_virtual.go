package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"propwright/checklist"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

// virtualHands are the hands and eyes at a virtual board. They do what they are
// asked by role, through the board's control channel only, and see of its lamps
// what an eye sees; what they cannot know they pass on.
type virtualHands struct {
	hands *virtual.Hands
	next  checklist.Person
	// pulled, where set, waits until the computer has seen that USB is out; on a
	// simulated clock no time may pass before that.
	pulled func(context.Context) error
	before string // the lamps when they were last looked at
}

// dialHands reaches for a virtual board in another process.
func dialHands(path string, clk clock.Clock, next checklist.Person) (*virtualHands, error) {
	control, err := virtual.DialControl(path)
	if err != nil {
		return nil, err
	}
	return &virtualHands{hands: virtual.NewHands(control, clk), next: next}, nil
}

// Instruct passes the instruction on to who watches, and does the act.
func (v *virtualHands) Instruct(ctx context.Context, in checklist.Instruction) error {
	if err := v.next.Instruct(ctx, in); err != nil {
		return err
	}
	switch in.Act {
	case checklist.ActPresent:
		return v.hands.Present(in.Role, in.Reader, in.SpacingMM, in.Hold)
	case checklist.ActPlace:
		return v.hands.Place(in.Role, in.Reader, in.SpacingMM)
	case checklist.ActTake:
		return v.hands.Take()
	case checklist.ActClear:
		return errors.Join(v.hands.Take(), v.hands.Flex(in.Reader, false), v.hands.Cable(true))
	case checklist.ActReset:
		return v.hands.Reset()
	case checklist.ActFlex, checklist.ActRelax:
		return v.hands.Flex(in.Reader, in.Act == checklist.ActFlex)
	case checklist.ActCableIn, checklist.ActCableOut:
		return v.hands.Cable(in.Act == checklist.ActCableIn)
	case checklist.ActSupplyOn, checklist.ActSupplyOff:
		return v.hands.Supply(in.Act == checklist.ActSupplyOn)
	case checklist.ActRoomOn, checklist.ActRoomOff:
		return v.hands.Room(in.Act == checklist.ActRoomOn)
	case checklist.ActUSBIn:
		return v.hands.USB(true)
	case checklist.ActUSBOut:
		if err := v.hands.USB(false); err != nil || v.pulled == nil {
			return err
		}
		return v.pulled(ctx)
	case checklist.ActLook:
		lamps, err := v.hands.Lamps()
		v.before = litLamps(lamps)
		return err
	case checklist.ActNote, checklist.ActNext: // these hands have one board
		return nil
	}
	return fmt.Errorf("virtual hands: act %q: not known", in.Act)
}

// Hear passes the signal on.
func (v *virtualHands) Hear(sig checklist.Signal) { checklist.Tell(v.next, sig) }

// Ask looks at the lamps; every other question is passed on.
func (v *virtualHands) Ask(ctx context.Context, q checklist.Question) (checklist.Answer, error) {
	if q.Kind != checklist.AskLamps {
		return v.next.Ask(ctx, q)
	}
	lamps, err := v.hands.Lamps()
	if err != nil {
		return checklist.Answer{}, err
	}
	return checklist.Answer{Text: v.before + " / " + litLamps(lamps), By: "virtual eyes"}, nil
}

// litLamps is what eyes saw in the form that the question asks for.
func litLamps(seen []string) string {
	lit := []string{}
	for i, s := range seen {
		switch s {
		case "lit":
			lit = append(lit, strconv.Itoa(i+1))
		case "blinking":
			lit = append(lit, strconv.Itoa(i+1)+"*")
		}
	}
	if len(lit) == 0 {
		return "-"
	}
	return strings.Join(lit, " ")
}
