package checklist_test

import (
	"errors"
	"testing"

	"propwright/checklist"
	"propwright/parsers"
)

func echo(kind parsers.Kind, pairs ...string) checklist.Entry {
	fields := map[string]string{}
	for i := 0; i+1 < len(pairs); i += 2 {
		fields[pairs[i]] = pairs[i+1]
	}
	e := parsers.Event{Kind: kind}.Holding(fields)
	return checklist.Entry{Type: checklist.EntryEvent, Event: &e}
}

func TestSameBoardKnowsABoardByWhatItPrints(t *testing.T) {
	mac := func(m string) checklist.Entry { return echo(parsers.KindAddress, "mac", m) }
	firmware := func(v string) checklist.Entry { return echo(parsers.KindFirmware, "name", "larkspur", "version", v) }
	changed := func(what string) checklist.Entry {
		return checklist.Entry{Type: checklist.EntryExpire, Changed: []string{what}}
	}
	flash := func(s checklist.ReflashState) checklist.Entry {
		return checklist.Entry{Type: checklist.EntryReflash, Reflash: &checklist.Reflash{State: s}}
	}
	flashed := func(before, after checklist.Entry) []checklist.Entry {
		return []checklist.Entry{before, flash(checklist.ReflashLetGo), changed("settings"), after, flash(checklist.ReflashBack)}
	}
	for name, tt := range map[string]struct {
		entries []checklist.Entry
		other   bool
	}{
		"nothing told":              {},
		"one MAC in two prints":     {entries: []checklist.Entry{mac("02:54:57:00:00:57"), mac("02-54-57-00-00-57")}},
		"another MAC":               {entries: []checklist.Entry{mac("02:54:57:00:00:57"), mac("02:54:57:00:00:58")}, other: true},
		"another board on record":   {entries: []checklist.Entry{mac("02:54:57:00:00:57"), changed("board"), mac("02:54:57:00:00:58")}},
		"another firmware":          {entries: []checklist.Entry{firmware("1"), firmware("2")}, other: true},
		"re-flashed, on record":     {entries: []checklist.Entry{firmware("1"), changed("settings"), firmware("2")}},
		"cover changed, not board":  {entries: []checklist.Entry{firmware("1"), changed("cover"), firmware("2")}, other: true},
		"re-flashed in the run":     {entries: flashed(firmware("1"), firmware("2"))},
		"re-flashed, another MAC":   {entries: flashed(mac("02:54:57:00:00:57"), mac("02:54:57:00:00:58")), other: true},
		"other firmware afterwards": {entries: append(flashed(firmware("1"), firmware("2")), firmware("1")), other: true},
		"old master, none enrolled": {entries: []checklist.Entry{echo(parsers.KindSetting, "name", "master", "value", "04A1B2C3")}},
	} {
		t.Run(name, func(t *testing.T) {
			if err := checklist.SameBoard(tt.entries); errors.Is(err, checklist.ErrOtherBoard) != tt.other {
				t.Errorf("SameBoard = %v; want another board %t", err, tt.other)
			}
		})
	}
}
