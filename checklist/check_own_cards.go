package checklist

import (
	"context"
	"fmt"
	"strconv"

	"propwright/parsers"
)

// ownCards are the roles of the prop's registered tags that are in use, in the
// plan's order; one of an unregistered tag where the plan has none.
func (it Item) ownCards() []string {
	n := 0
	for _, t := range it.Tags {
		if t.Role == RoleShow && t.Whose == it.Prop && t.State != tagLost {
			n++
		}
	}
	roles := []string{RoleShow}
	for i := 2; i <= n; i++ {
		roles = append(roles, fmt.Sprintf("%s-%d", RoleShow, i))
	}
	return roles
}

// tagLost is a registered tag's state where it is not to be had any more.
const tagLost = "lost"

// checkOwnCards goes through the prop's own cards: with the parameter add it puts
// them on the list one after the other, and then each is accepted and a stranger
// refused. Without it nothing stored is changed.
func checkOwnCards(ctx context.Context, s *Scene) ([]Finding, error) {
	a, err := s.actsOf()
	if err != nil {
		return nil, err
	}
	if err := s.outOfProgramming(ctx); err != nil {
		return nil, err
	}
	cards := s.Item.ownCards()
	add := s.Step.Params["add"] == true
	if b := s.Belief(); !add && b.Master == No {
		return []Finding{{
			What: "master", How: Measured, Verdict: Failed, Value: Text("none"), Limit: ptr(Text("one")), Rests: RefsOf(s.Log.entry(b.BootN)),
			Note: fmt.Sprintf("The board has no master, so it is fresh or was wiped: procedure new is due, or swap where it goes in as a spare. Begin with commission %s --procedure new.", s.Item.Prop),
		}}, nil
	}
	if add {
		if err := s.addAll(ctx, a, cards); err != nil {
			return a.findings, err
		}
	}
	for i, role := range cards {
		what := "the prop's own tag"
		if len(cards) > 1 {
			what = fmt.Sprintf("card %d of %d", i+1, len(cards))
		}
		x := acceptCard("works-"+role, role, what, "refused", "A card of this prop is not on the board's list.")
		x.figure = fmt.Sprintf("%d/%d", i+1, len(cards))
		if _, err := a.do(ctx, x); err != nil {
			return a.findings, err
		}
	}
	if _, err := a.do(ctx, refuseCard("stranger", RoleStranger, "stranger", "accepted", "A stranger was accepted: every card is taken.")); err != nil {
		return a.findings, err
	}
	if f, told := s.lostCards(len(cards)); told {
		a.findings = append(a.findings, f)
	}
	return a.findings, nil
}

// addAll puts the cards on the list in one go of programming mode, a card a touch
// with a count. What is on record from before an interruption is not done again; a
// card that was added with nobody listening comes off the list at its touch and is
// put on again.
func (s *Scene) addAll(ctx context.Context, a *acts, cards []string) error {
	inside := false
	for i, role := range cards {
		x := addCard("add-"+role, role, fmt.Sprintf("card %d of %d added", i+1, len(cards)))
		if _, done := a.done(x); done {
			continue
		}
		if !inside {
			if _, ok, err := s.toggle(ctx, parsers.KindProgramEnter, a.hold, a.within); err != nil {
				return err
			} else if !ok {
				a.finding(x, "programming mode not entered", RefsOf(s.Earlier()...))
				return nil
			}
			inside = true
		}
		x.program, x.figure = false, fmt.Sprintf("%d/%d", i+1, len(cards))
		x.text = fmt.Sprintf("Card %d of %d: touch %s with it and lift it.", i+1, len(cards), s.which(s.Reader().Index))
		result, seen, err := a.perform(ctx, x)
		if err == nil && result == x.bad {
			if err = s.Note("step %s: %s was on the list already and is put on again", s.Step.ID, role); err == nil {
				result, seen, err = a.perform(ctx, x)
			}
		}
		if err != nil {
			return err
		}
		if err := a.record(x, result, seen); err != nil {
			return err
		}
	}
	if !inside {
		return nil
	}
	if _, left, err := s.toggle(ctx, parsers.KindProgramExit, a.hold, a.within); err != nil || left {
		return err
	}
	a.findings = append(a.findings, Finding{
		What: "programming mode left", How: Measured, Verdict: Failed, Value: Text("no exit"), Limit: ptr(Text("left")), Rests: RefsOf(s.Earlier()...),
		Note: "The master did not end programming mode: any tag shown now would change the list.",
	})
	return nil
}

// lostCards is the finding on cards that are on the board's list and not in use: lost
// ones, and replaced ones that the register has no more. With firmware that takes a
// card off only when it is shown, such a one stays a key until the list is wiped. It
// is told where cards are registered as lost, or where the board has more cards than
// are registered.
func (s *Scene) lostCards(inUse int) (f Finding, told bool) {
	lost, registered := 0, 0
	for _, t := range s.Item.Tags {
		if t.Role == RoleShow && t.Whose == s.Item.Prop {
			registered++
			if t.State == tagLost {
				lost++
			}
		}
	}
	b := s.Belief()
	n, err := strconv.Atoi(b.Cards)
	if lost == 0 && (registered == 0 || err != nil || n <= inUse) {
		return f, false
	}
	f = Finding{
		What: "lost cards", How: Measured, Verdict: NotConfirmed, Value: Text(fmt.Sprintf("%d registered as lost, the board does not tell how many it has", lost)),
		Limit: ptr(Text("none on the list")), Rests: RefsOf(s.Log.entry(b.BootN)),
		Note: fmt.Sprintf("A card that is lost or was replaced can only be taken off by showing it: to be rid of it, wipe the list and add the %d cards in use again, two presentations of the master and %d of cards.", inUse, inUse),
	}
	if err != nil {
		return f, true
	}
	echo := b.Settings[parsers.SettingCards]
	f.Rests = RefsOf(s.Log.entry(echo.N))
	f.Value = Number(float64(n), "1", fmt.Sprintf("%d cards on the list, %d in use, %d lost", n, inUse, lost))
	if n > inUse {
		f.Verdict = Failed
		return f, true
	}
	f.Verdict, f.Note = Passed, "The list has no more cards than are in use."
	return f, true
}
