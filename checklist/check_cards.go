package checklist

import (
	"context"
)

// checkCards walks the card list through everything that a show asks of it:
// unknown, added, accepted, removed, refused, added again, two cards, kept.
func checkCards(ctx context.Context, s *Scene) ([]Finding, error) {
	a, err := s.actsOf()
	if err != nil {
		return nil, err
	}
	if err := s.outOfProgramming(ctx); err != nil {
		return nil, err
	}
	const (
		newest  = "newest card refused"
		lastOne = "The card added last is not found: firmware that searches one place short. It turns good once another card is added, so it must not be trusted."
		stays   = "removed card still accepted"
		stayOn  = "A card that was taken off the list still works: the firmware's removal does nothing."
	)
	sequence := []act{
		refuseCard("unknown", RoleShow, "card on no list", "accepted", "A card that nobody added was accepted: the list holds old contents, or every card is taken."),
		addCard("add", RoleShow, "card added"),
		acceptCard("added", RoleShow, "added card, added last", newest, lastOne),
		refuseCard("stranger", RoleStranger, "stranger", "accepted", "A stranger was accepted: every card is taken."),
		removeCard("remove", RoleShow, "card removed"),
		refuseCard("removed", RoleShow, "removed card", stays, stayOn),
	}
	for _, x := range sequence {
		if _, err := a.do(ctx, x); err != nil {
			return a.findings, err
		}
	}
	// Where the removal did nothing, adding "again" would remove; the list is then
	// left as it is and that finding stands.
	last := a.findings[len(a.findings)-1]
	if last.Value.Text == stays {
		return a.findings, nil
	}
	sequence = []act{
		addCard("add-again", RoleShow, "card added again"),
		addCard("add-second", RoleSpare, "second card added"),
		acceptCard("first-of-two", RoleShow, "first of two cards", "refused", "A card on the list was refused."),
		acceptCard("last-of-two", RoleSpare, "last of two cards", newest, lastOne),
	}
	for _, x := range sequence {
		if _, err := a.do(ctx, x); err != nil {
			return a.findings, err
		}
	}
	if err := s.resetOnce(ctx, a); err != nil {
		return a.findings, err
	}
	sequence = []act{
		acceptCard("first-kept", RoleShow, "first card after a reset", "refused", "The list was not kept over a reset."),
		acceptCard("last-kept", RoleSpare, "last card after a reset", newest, lastOne),
	}
	for _, x := range sequence {
		if _, err := a.do(ctx, x); err != nil {
			return a.findings, err
		}
	}
	return a.findings, nil
}

// actsOf reads the parameters that all steps with acts share.
func (s *Scene) actsOf() (*acts, error) {
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	hold, err := s.Step.Seconds("hold")
	return &acts{s: s, hold: hold, within: within}, err
}

// resetOnce restarts the board between the acts; that it is back is seen from
// the acts that follow.
func (s *Scene) resetOnce(ctx context.Context, a *acts) error {
	const name = "reset"
	for _, m := range s.Measures(measureAct) {
		if m.Measure.Params["act"] == name {
			return nil
		}
	}
	boot, booted, err := s.Reset(ctx)
	if err != nil {
		return err
	}
	result := "no boot seen"
	if booted {
		result = "restarted"
		if err := s.Settle(ctx); err != nil {
			return err
		}
	}
	_, err = s.Measure(Measure{Name: measureAct, Value: 1, Unit: "1", Params: map[string]string{"act": name, "result": result}, Rests: RefsOf(boot)})
	return err
}

// checkCleanUp takes the test card off, sees that what stays works, and sends
// the master to its keeper.
func checkCleanUp(ctx context.Context, s *Scene) ([]Finding, error) {
	a, err := s.actsOf()
	if err != nil {
		return nil, err
	}
	if err := s.outOfProgramming(ctx); err != nil {
		return nil, err
	}
	for _, x := range []act{
		removeCard("remove-spare", RoleSpare, "test card removed"),
		refuseCard("spare-gone", RoleSpare, "test card", "still accepted", "The test card is still on the list."),
		acceptCard("show-stays", RoleShow, "the prop's own tag", "refused", "The prop's own tag is not on the list."),
	} {
		if _, err := a.do(ctx, x); err != nil {
			return a.findings, err
		}
	}
	err = s.Instruct(ctx, Instruction{Act: ActNote, Text: "Give the master tag to " + s.Item.Keeper() + "; it does not stay in the room. Take the stand-in's address off the bench computer if it was added for this."})
	return a.findings, err
}
