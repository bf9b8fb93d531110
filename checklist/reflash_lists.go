package checklist

import (
	"context"
	"strconv"
	"strings"

	"propwright/parsers"
)

// listsAfter sees from the board's start whether master and cards survived, or
// asks where that does not say.
func (s *Scene) listsAfter(ctx context.Context, began int64) (ListsFate, How, error) {
	entries := s.Log.Entries(0)
	fate, told := fateOf(stored(entries[:began]), stored(entries[began:]))
	if told {
		return fate, Measured, nil
	}
	answer, err := s.put(ctx, Question{
		Key: "lists-kept", Kind: AskConfirm,
		Text: "The board's start does not say it: does it still know its master and its cards? Say no where you are not sure.",
	})
	if err != nil {
		return "", "", err
	}
	if confirmed(answer.Answer.Text) == Passed {
		return ListsKept, Stated, nil
	}
	return ListsLost, Stated, nil
}

// contents are what a board stores of one list, as far as it told.
type contents struct {
	master Tri
	cards  int // -1 when not known
}

// stored folds what the board told of its lists. They go by the reader that the
// board named as it told of a master or a count; a card that it names a reader with
// belongs to the board's one list where that reader has none of its own.
func stored(entries []Entry) map[int]contents {
	lists := map[int]contents{}
	for _, e := range entries {
		if e.Event == nil {
			continue
		}
		of := e.Event.Reader
		l, own := lists[of]
		switch e.Event.Kind {
		case parsers.KindCardAdded, parsers.KindCardRemoved, parsers.KindListWiped:
			if !own {
				of = parsers.NoReader
				l, own = lists[of]
			}
		}
		if !own {
			l.cards = -1
		}
		if l.take(e.Event) {
			lists[of] = l
		}
	}
	return lists
}

// take takes in an event; it is false for one that says nothing of a list.
func (l *contents) take(e *parsers.Event) bool {
	switch e.Kind {
	case parsers.KindMasterMissing:
		l.master = No
	case parsers.KindMasterEnrolled:
		l.master = Yes
	case parsers.KindCardAdded, parsers.KindCardRemoved:
		if l.cards >= 0 && e.Kind == parsers.KindCardAdded {
			l.cards++
		} else if l.cards > 0 {
			l.cards--
		}
	case parsers.KindListWiped:
		l.cards = 0
	case parsers.KindSetting:
		switch e.Field("name") {
		case parsers.SettingMaster:
			l.master = Yes
		case parsers.SettingCards:
			n, err := strconv.Atoi(strings.TrimSpace(e.Field("value")))
			if err != nil {
				n = -1
			}
			l.cards = n
		default:
			return false
		}
	default:
		return false
	}
	return true
}

// fateOf holds what a board stored before against what its start says now; told is
// false where that does not say it.
func fateOf(before, after map[int]contents) (fate ListsFate, told bool) {
	fate, told = ListsEmpty, true
	for reader, b := range before {
		if b.master != Yes && b.cards <= 0 {
			continue
		}
		a, said := after[reader]
		switch {
		case said && a.master == No, said && a.cards >= 0 && b.cards >= 0 && a.cards != b.cards:
			return ListsLost, true
		case said && a.master == Yes && a.cards >= 0 && a.cards == b.cards:
			if fate == ListsEmpty {
				fate = ListsKept
			}
		default:
			told = false
		}
	}
	return fate, told
}
