package checklist

import (
	"context"
	"fmt"

	"propwright/parsers"
)

// asksForMaster is what is watched for at a start.
const asksForMaster = "no question for a master at the start"

// checkMaster proves that the board came without a master, that the first tag
// becomes it, and that it stays so over a reset.
func checkMaster(ctx context.Context, s *Scene) ([]Finding, error) {
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	enrolled, ok := s.enrolledHere()
	if !ok {
		if s.Belief().Master == Unknown {
			if _, _, err := s.Reset(ctx); err != nil {
				return nil, err
			}
			if err := s.SettleWatching(ctx, asksForMaster); err != nil {
				return nil, err
			}
		}
		if old, found := s.oldContents(); found {
			return []Finding{old}, nil
		}
		if enrolled, ok, err = s.enrol(ctx, within); err != nil {
			return nil, err
		}
		if !ok {
			return []Finding{s.noEnrolment()}, nil
		}
	}
	findings := []Finding{{
		What: "master enrolled by the first tag", How: Measured, Verdict: Passed,
		Value: Text("enrolled"), Limit: ptr(Text("enrolled")), Rests: RefsOf(enrolled),
	}}
	kept, err := s.masterKept(ctx)
	return append(findings, kept), err
}

// enrolledHere finds the enrolment that this run made, also one that fell into a
// gap: the tag was asked for while none was stored, and afterwards one is.
func (s *Scene) enrolledHere() (Entry, bool) {
	asked := false
	for _, e := range s.Earlier() {
		switch {
		case IsKind(e, parsers.KindMasterEnrolled):
			return e, true
		case e.Instruct != nil && e.Instruct.Role == RoleMaster:
			asked = true
		case asked && IsKind(e, parsers.KindSetting) && e.Event.Field("name") == parsers.SettingMaster:
			return e, true
		}
	}
	return Entry{}, false
}

// oldContents is the finding that the board came with a master or cards.
func (s *Scene) oldContents() (Finding, bool) {
	b := s.Belief()
	cards := b.Cards != "" && b.Cards != "0"
	if b.Master != Yes && !cards {
		return Finding{}, false
	}
	f := Finding{
		What: "old contents", How: Measured, Verdict: Failed, Limit: ptr(Text("no master, no cards")),
		Note: "The board holds a list that this run did not make, such as another prop's: wipe it as its firmware describes, then begin again. Where the prop is in service and the list is its own, wipe nothing: procedure recheck is due.",
	}
	var held []string
	if b.Master == Yes {
		text := "a master of another prop"
		for _, t := range s.Item.Tags {
			if b.MasterUID == "" || t.UID != b.MasterUID {
				continue
			}
			if t.Whose != "" {
				text += " (" + t.Whose + ")"
			}
			if t.Role == RoleMaster {
				text = "the site's master"
				f.Note = fmt.Sprintf("This board is enrolled already. Where it is in service here, procedure recheck is due: commission %s --procedure recheck. Otherwise wipe it as its firmware describes, then begin again.", s.Item.Prop)
			}
		}
		held = append(held, text)
		f.Rests = append(f.Rests, RefsOf(s.Log.entry(b.Settings[parsers.SettingMaster].N))...)
	}
	if cards {
		held = append(held, fmt.Sprintf("%s cards", b.Cards))
		f.Rests = append(f.Rests, RefsOf(s.Log.entry(b.Settings[parsers.SettingCards].N))...)
	}
	f.Value = Text(joinAnd(held))
	return f, true
}

func joinAnd(parts []string) string {
	text := ""
	for i, p := range parts {
		if i > 0 {
			text += " and "
		}
		text += p
	}
	return text
}

func (s *Scene) enrol(ctx context.Context, within presentTime) (Entry, bool, error) {
	return s.Present(ctx, Presentation{
		Role: RoleMaster, Act: ActPresent, Hold: shortHold, Within: within,
		Kinds: []parsers.Kind{parsers.KindMasterEnrolled},
		Text:  "Touch " + s.which(s.Reader().Index) + " with the tag that shall be the master, and lift it.",
	})
}

func (s *Scene) noEnrolment() Finding {
	b := s.Belief()
	f := Finding{
		What: "master enrolled by the first tag", How: Measured, Verdict: Failed,
		Value: Text("not enrolled"), Limit: ptr(Text("enrolled")), Rests: RefsOf(s.Earlier()...),
		Note: "The tag was shown and the board did not take it as its master.",
	}
	if b.Master != No {
		f.Note = "The board neither asks for a master nor tells of one: choose the wording of this firmware, or look at its build."
	}
	return f
}

// masterKept restarts the board and looks whether it still knows its master.
func (s *Scene) masterKept(ctx context.Context) (Finding, error) {
	f := Finding{What: "master kept over a reset", How: Measured, Limit: ptr(Text("kept"))}
	boot, booted, err := s.Reset(ctx)
	if err != nil {
		return f, err
	}
	if !booted {
		f.Verdict, f.Value, f.Rests = NotConfirmed, Text("no boot seen"), RefsOf(s.Earlier()...)
		return f, nil
	}
	if err := s.SettleWatching(ctx, asksForMaster); err != nil {
		return f, err
	}
	b := s.Belief()
	text := s.Log.Entries(boot.N - 1)
	f.Rests = RefsOf(consoleOf(text)...)
	switch {
	case b.Master == No:
		f.Verdict, f.Value = Failed, Text("no master after reset")
		f.Note = "The master was not kept: the board's memory, or firmware that does not store it."
	case b.MasterUID != "" && b.Roles[RoleMaster] != "" && b.MasterUID != b.Roles[RoleMaster] && b.MasterUID != "known":
		f.Verdict, f.Value = Failed, Text("another master after reset")
	case b.Master == Yes:
		f.Verdict, f.Value = Passed, Text("kept")
	default:
		f.Verdict, f.Value = Passed, Text("kept")
		f.Note = "The firmware does not tell of a stored master; it did not ask for one either."
	}
	return f, nil
}

// consoleOf keeps the entries that the board said.
func consoleOf(entries []Entry) []Entry {
	var said []Entry
	for _, e := range entries {
		if hasText(e) {
			said = append(said, e)
		}
	}
	return said
}
