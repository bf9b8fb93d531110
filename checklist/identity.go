package checklist

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"propwright/parsers"
)

// ErrOtherBoard says that a run was taken up with another board than it began
// with.
var ErrOtherBoard = errors.New("another board")

// identity is what tells one board from another by what it prints.
type identity struct{ mac, firmware, master string }

// SameBoard reads the log and says whether all that the board told of itself fits
// one board. What a recorded change explains (another board, a new build) starts
// the comparison anew; a re-flash that the run itself saw explains other firmware,
// but no other MAC: the board was in hand all the time. The error wraps
// ErrOtherBoard and names both values.
func SameBoard(entries []Entry) error {
	var known identity
	flashing := false
	for _, e := range entries {
		switch {
		case e.Reflash != nil:
			flashing = e.Reflash.State == ReflashLetGo
			if flashing {
				known.firmware = ""
			}
		case e.Type == EntryExpire:
			if slices.Contains(e.Changed, "board") {
				known = identity{}
			}
			if slices.Contains(e.Changed, changeSettings) && !flashing {
				known.mac, known.firmware = "", ""
			}
		case e.Event != nil:
			if err := known.fits(e.Event); err != nil {
				return fmt.Errorf("entry %d: %w", e.N, err)
			}
		}
	}
	return nil
}

// fits takes in one event, or says what in it belongs to another board.
func (id *identity) fits(e *parsers.Event) error {
	switch e.Kind {
	case parsers.KindAddress:
		return same(&id.mac, "MAC", normalSetting(parsers.SettingMAC, e.Field("mac")))
	case parsers.KindFirmware:
		return same(&id.firmware, "firmware", strings.TrimSpace(e.Field("name")+" "+e.Field("version")))
	case parsers.KindMasterEnrolled:
		id.master = uidOf(e)
	case parsers.KindSetting:
		switch e.Field("name") {
		case parsers.SettingMAC:
			return same(&id.mac, "MAC", normalSetting(parsers.SettingMAC, e.Field("value")))
		case parsers.SettingMaster:
			if v := e.Field("value"); id.master != "" && v != "known" && v != "" && v != id.master {
				return fmt.Errorf("%w: it knows another master than this run enrolled", ErrOtherBoard)
			}
		}
	}
	return nil
}

func same(known *string, what, value string) error {
	if value == "" {
		return nil
	}
	if *known != "" && *known != value {
		return fmt.Errorf("%w: %s %s, before %s", ErrOtherBoard, what, value, *known)
	}
	*known = value
	return nil
}
