package checklist

import (
	"context"
	"fmt"
	"slices"

	"propwright/parsers"
)

// checkStored proves that the run has changed nothing that the board stores: what
// the board tells of its master and cards after a last restart is what it told at
// the run's first, and no word of a change came in between.
func checkStored(ctx context.Context, s *Scene) ([]Finding, error) {
	if _, booted, err := s.Reset(ctx); err != nil {
		return nil, err
	} else if booted {
		if err := s.SettleWatching(ctx, asksForMaster); err != nil {
			return nil, err
		}
	}
	findings := []Finding{s.noChangeSeen()}
	starts := tellingsOf(s.Log.Entries(0))
	if len(starts) < 2 {
		return append(findings, Finding{
			What: "master and cards", How: Measured, Verdict: NotConfirmed, Value: Text("no two starts to compare"),
			Limit: ptr(Text("as at the beginning")), Rests: RefsOf(s.Earlier()...),
		}), nil
	}
	first, last := starts[0], starts[len(starts)-1]
	findings = append(findings, storedFinding("master", parsers.SettingMaster, first, last))
	return append(findings, storedFinding("cards on the list", parsers.SettingCards, first, last)), nil
}

// noChangeSeen is the finding on events that tell of a changed master or list.
func (s *Scene) noChangeSeen() Finding {
	var changes, all []Entry
	for _, e := range s.Log.Entries(0) {
		if e.Event == nil {
			continue
		}
		if hasText(e) {
			all = append(all, e)
		}
		if IsKind(e, parsers.KindMasterEnrolled, parsers.KindCardAdded, parsers.KindCardRemoved, parsers.KindListWiped) {
			changes = append(changes, e)
		}
	}
	f := Finding{
		What: "changes told", How: Measured, Verdict: Passed, Rests: RefsOf(all...),
		Value: Number(float64(len(changes)), "1", "none"), Limit: ptr(Number(0, "1", "none")),
	}
	if len(changes) > 0 {
		f.Verdict, f.Value.Text, f.Rests = Failed, fmt.Sprintf("%d", len(changes)), RefsOf(changes...)
		f.Note = "The board told of a change to its master or its list during this run, which was to change nothing: look at the list again, card by card."
	}
	return f
}

// A telling is what a board told of its store after one boot, by setting name and
// reader; the zero reader stands for the board.
type telling map[storeKey]Entry

type storeKey struct {
	name   string
	reader int
}

// tellingsOf collects what the board told after each of its boots.
func tellingsOf(entries []Entry) []telling {
	var starts []telling
	for _, e := range entries {
		switch {
		case e.Type == EntryExpire && (slices.Contains(e.Changed, "lists") || slices.Contains(e.Changed, "board")):
			starts = nil // what was stored before is another matter
		case IsKind(e, parsers.KindBoot):
			starts = append(starts, telling{})
		case len(starts) == 0 || e.Event == nil:
		case e.Event.Kind == parsers.KindSetting:
			name := e.Event.Field("name")
			if name == parsers.SettingMaster || name == parsers.SettingCards {
				starts[len(starts)-1][storeKey{name, e.Event.Reader}] = e
			}
		case e.Event.Kind == parsers.KindMasterMissing:
			starts[len(starts)-1][storeKey{parsers.SettingMaster, e.Event.Reader}] = e
		}
	}
	return starts
}

// storedFinding compares one thing of two starts, for all readers.
func storedFinding(what, name string, first, last telling) Finding {
	f := Finding{What: what, How: Measured, Verdict: NotConfirmed, Value: Text("not told"), Limit: ptr(Text("as at the beginning"))}
	keys := map[storeKey]bool{}
	for _, st := range []telling{first, last} {
		for k := range st {
			if k.name == name {
				keys[k] = true
			}
		}
	}
	untold := len(keys) == 0
	for k := range keys {
		was, is := first[k], last[k]
		f.Rests = append(f.Rests, RefsOf(was, is)...)
		before, after := toldValue(was), toldValue(is)
		switch {
		case before == "" || after == "":
			untold = true
		case before != after:
			f.Verdict, f.Value = Failed, Text("changed")
			if name == parsers.SettingCards {
				f.Value = Text(fmt.Sprintf("%s, before %s", after, before))
			}
			f.Note = "What the board stores is not what it stored when this run began."
			return f
		default:
			f.Verdict, f.Value = Passed, Text("as at the beginning")
			if name == parsers.SettingCards {
				f.Value = Text(after + ", as at the beginning")
			}
		}
	}
	if untold {
		f.Verdict, f.Value = NotConfirmed, Text("not told")
		f.Note = "The board does not tell this at its start, so nothing here proves it."
	}
	return f
}

// toldValue is what a start's entry says, "" where it says nothing.
func toldValue(e Entry) string {
	switch {
	case e.Event == nil:
		return ""
	case e.Event.Kind == parsers.KindMasterMissing:
		return "none"
	}
	return e.Event.Field("value")
}
