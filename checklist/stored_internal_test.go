package checklist

import (
	"testing"

	"propwright/parsers"
)

// What a board tells of its store at two starts, and what that says of the time in
// between.
func TestTwoStartsSayWhetherTheStoreChanged(t *testing.T) {
	set := func(name, value string) Entry {
		e := parsers.Event{Kind: parsers.KindSetting}.Holding(map[string]string{"name": name, "value": value})
		return Entry{Event: &e}
	}
	boot := Entry{Event: &parsers.Event{Kind: parsers.KindBoot}}
	missing := Entry{Event: &parsers.Event{Kind: parsers.KindMasterMissing}}
	const master, cards = parsers.SettingMaster, parsers.SettingCards
	for name, tt := range map[string]struct {
		entries       []Entry
		starts        int
		master, cards Verdict
	}{
		"the same":            {[]Entry{boot, set(master, "04A1B2C3D4E5F6"), set(cards, "3"), boot, set(master, "04A1B2C3D4E5F6"), set(cards, "3")}, 2, Passed, Passed},
		"a card more":         {[]Entry{boot, set(master, "known"), set(cards, "3"), boot, set(master, "known"), set(cards, "4")}, 2, Passed, Failed},
		"another master":      {[]Entry{boot, set(master, "04A1B2C3D4E5F6"), boot, set(master, "3FA0C816")}, 2, Failed, NotConfirmed},
		"the master is gone":  {[]Entry{boot, set(master, "known"), boot, missing}, 2, Failed, NotConfirmed},
		"told once only":      {[]Entry{boot, set(cards, "3"), boot}, 2, NotConfirmed, NotConfirmed},
		"changed and back":    {[]Entry{boot, set(cards, "3"), boot, set(cards, "4"), boot, set(cards, "3")}, 3, NotConfirmed, Passed},
		"before another list": {[]Entry{boot, set(cards, "9"), {Type: EntryExpire, Changed: []string{"lists"}}, boot, set(cards, "3"), boot, set(cards, "3")}, 2, NotConfirmed, Passed},
		"before the cover":    {[]Entry{boot, set(cards, "9"), {Type: EntryExpire, Changed: []string{"cover"}}, boot, set(cards, "3")}, 2, NotConfirmed, Failed},
		"not from its start":  {[]Entry{set(cards, "9"), boot, set(cards, "3"), boot, set(cards, "3")}, 2, NotConfirmed, Passed},
	} {
		t.Run(name, func(t *testing.T) {
			starts := tellingsOf(tt.entries)
			if len(starts) != tt.starts {
				t.Fatalf("%d starts, want %d", len(starts), tt.starts)
			}
			first, last := starts[0], starts[len(starts)-1]
			if f := storedFinding("master", master, first, last); f.Verdict != tt.master {
				t.Errorf("master: %+v, want %s", f, tt.master)
			}
			if f := storedFinding("cards", cards, first, last); f.Verdict != tt.cards {
				t.Errorf("cards: %+v, want %s", f, tt.cards)
			}
		})
	}
}
