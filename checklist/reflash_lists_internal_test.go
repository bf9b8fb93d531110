package checklist

import (
	"testing"

	"propwright/parsers"
)

// What a board of two readers told before and after a flash. A firmware that keeps one
// list names the reader of a card and none with the count; one that keeps a list for
// each reader names it with both.
func TestFateOfTheListsOfTwoReaders(t *testing.T) {
	said := func(reader int, kind parsers.Kind, pairs ...string) Entry {
		fields := map[string]string{}
		for i := 0; i+1 < len(pairs); i += 2 {
			fields[pairs[i]] = pairs[i+1]
		}
		e := parsers.Event{Kind: kind, Reader: reader}.Holding(fields)
		return Entry{Type: EntryEvent, Event: &e}
	}
	const board = parsers.NoReader
	full := func(reader int, cards string) []Entry {
		return []Entry{
			said(reader, parsers.KindSetting, "name", parsers.SettingMaster, "value", "known"),
			said(reader, parsers.KindSetting, "name", parsers.SettingCards, "value", cards),
		}
	}
	join := func(parts ...[]Entry) (all []Entry) {
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	added, removed := []Entry{said(1, parsers.KindCardAdded)}, []Entry{said(0, parsers.KindCardRemoved)}
	none := func(reader int) []Entry { return []Entry{said(reader, parsers.KindMasterMissing)} }
	for name, tt := range map[string]struct {
		before, after []Entry
		fate          ListsFate
		told          bool
	}{
		"one list, a card at each reader":  {join(full(board, "1"), added, added, removed), full(board, "2"), ListsKept, true},
		"one list, the card is gone":       {join(full(board, "1"), added), full(board, "1"), ListsLost, true},
		"each its own, kept":               {join(full(0, "1"), full(1, "0"), added), join(full(0, "1"), full(1, "1")), ListsKept, true},
		"each its own, the second is gone": {join(full(0, "1"), full(1, "1")), join(full(0, "1"), none(1)), ListsLost, true},
		"each its own, one says nothing":   {join(full(0, "1"), full(1, "1")), full(0, "1"), "", false},
		"nothing stored":                   {join(none(board)), none(board), ListsEmpty, true},
		"a count that is no number":        {full(board, "some"), full(board, "some"), "", false},
		"a master alone is told":           {full(board, "1"), full(board, "1")[:1], "", false},
	} {
		t.Run(name, func(t *testing.T) {
			fate, told := fateOf(stored(tt.before), stored(tt.after))
			if told != tt.told || told && fate != tt.fate {
				t.Errorf("fate %q, told %t; want %q, %t", fate, told, tt.fate, tt.told)
			}
		})
	}
}
