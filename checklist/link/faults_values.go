package link

import (
	"fmt"

	"propwright/checklist"
)

// values are what is written when, to the right coil.
func (v *view) values() (found []Fault) {
	add := func(f Fault, ok bool) {
		if ok {
			found = append(found, f)
		}
	}
	if f, ok := v.refused(); ok {
		return []Fault{f}
	}
	if f, ok := v.invertedValue(); ok {
		return []Fault{f}
	}
	add(v.neverOff())
	add(v.twice())
	slow, late := v.late()
	add(slow, late)
	add(v.without())
	// Writes that come late may be a tag's that is long gone.
	if !late && len(v.line.Showings) > 0 && len(v.line.Untagged) > 0 {
		found = append(found, fault(FaultCoilWithoutTag, "a coil is written without a tag", "What else writes it: another reader of the board, a test left in the firmware, a loose antenna that sees tags.",
			v.line.Untagged, fmt.Sprintf("%d writes with no tag within %v before or %v after", len(v.line.Untagged), pairAfter, pairBefore)))
	}
	return found
}

func (v *view) refused() (Fault, bool) {
	for _, e := range v.writes {
		if a := e.Frame.Answer; a != "ok" {
			if a == "" {
				return fault(FaultAcceptsSilently, "connection accepted, no answer", "Whether the controller's program runs, and which unit ids it answers to.", []checklist.Entry{e},
					fmt.Sprintf("the write of coil %d was answered by nobody", e.Frame.Coil)), true
			}
			return fault(FaultRefused, "the controller refuses the write", "Which coils and functions the controller has: servers differ, some say 02 (address) where 01 (function) is meant, so try function 0F and another address.",
				[]checklist.Entry{e}, fmt.Sprintf("coil %d, function %02X: %s, %s", e.Frame.Coil, e.Frame.Function, a, exceptions[a])), true
		}
	}
	return Fault{}, false
}

// invertedValue sees tags that switch off when they come, and on when they leave.
func (v *view) invertedValue() (Fault, bool) {
	var off []checklist.Entry
	for _, w := range v.line.Showings {
		if _, on, ok := written(w.On); ok && readerOf(v.Item.Readers, w.Reader).Behaviour != behaviourToggle {
			if on {
				return Fault{}, false
			}
			off = append(off, w.On)
		}
	}
	if len(off) == 0 {
		return Fault{}, false
	}
	return fault(FaultInverted, "value inverted", "Exchange on and off in the firmware's write, and only there.", off, fmt.Sprintf("%d tags came and switched the coil off", len(off))), true
}

// neverOff sees coils that stay on: the tag has left, or a next one came, and no
// write back. A toggle is to go off with the next tag.
func (v *view) neverOff() (Fault, bool) {
	var stays []checklist.Entry
	toggled, last := 0, map[int]checklist.Entry{}
	for i, w := range v.line.Showings {
		r := readerOf(v.Item.Readers, w.Reader)
		_, on, ok := written(w.On)
		if !ok {
			continue
		}
		if r.Behaviour == behaviourToggle {
			if _, before, was := written(last[w.Reader]); was && before && on {
				toggled++
				stays = append(stays, w.On)
			}
			last[w.Reader] = w.On
			continue
		}
		over := w.Left.N != 0 && v.Until.Sub(w.Left.At) >= pairAfter || r.Behaviour == behaviourPulse && v.Until.Sub(w.On.At) >= pairAfter
		for _, next := range v.line.Showings[i+1:] {
			over = over || next.Reader == w.Reader
		}
		if on && over && w.Off.N == 0 {
			stays = append(stays, w.On)
		}
	}
	switch {
	case toggled > 0:
		return fault(FaultToggleNeverOff, "a toggle that never turns off", "Have the firmware remember what it wrote and write the other value with the next tag.", stays,
			fmt.Sprintf("switched on again while on, %d times", toggled)), true
	case len(stays) > 0:
		return fault(FaultNeverOff, "on but never off", "Have the firmware write the coil off when the tag has left; where its reader tells of no leaving, have it look again and again.", stays,
			fmt.Sprintf("switched on %d times and never off, the tag gone", len(stays))), true
	}
	return Fault{}, false
}

func (v *view) twice() (Fault, bool) {
	var all []checklist.Entry
	for _, w := range v.line.Showings {
		all = append(all, w.Twice...)
	}
	if len(all) == 0 {
		return Fault{}, false
	}
	return fault(FaultWritesTwice, "writes come twice", "Have the firmware write when the value changes, not each time it reads the tag; it may also write again because it did not wait for the answer.", all,
		fmt.Sprintf("%d writes came again within %v", len(all), sameWrite)), true
}

func (v *view) late() (Fault, bool) {
	var slow []checklist.Entry
	for _, w := range v.line.Showings {
		if d, bound, ok := w.Delay(); ok && d-bound > lateWrite {
			slow = append(slow, w.On)
		}
	}
	if len(slow) == 0 {
		return Fault{}, false
	}
	s := v.line.Spread()
	return fault(FaultWritesLate, "writes come late", "How often the firmware polls its reader, what it waits for before it writes, and whether it connects anew for each write.", slow,
		fmt.Sprintf("%d of %d later than %v; median %.2f s, most %.2f s, within %.2f s", len(slow), s.N, lateWrite, s.Median, s.Most, s.Off)), true
}

// without sees tags whose write never came: lost where the board says that it wrote,
// or where other tags had theirs.
func (v *view) without() (Fault, bool) {
	var bare []checklist.Entry
	told, met := 0, 0
	for _, w := range v.line.Showings {
		switch {
		case w.On.N != 0:
			met++
		case v.Until.Sub(w.Came.At) >= pairAfter && len(v.openAt(w.Came)) > 0: // else there was nobody to write to
			bare = append(bare, w.Came)
			for _, e := range v.told {
				if d := e.At.Sub(w.Came.At); d >= 0 && d <= pairAfter {
					told++
					break
				}
			}
		}
	}
	switch {
	case len(bare) == 0:
		return Fault{}, false
	case told > 0 || met > 0:
		return fault(FaultWritesLost, "writes are lost", "Whether the firmware waits for the answer and writes again without one; a full socket, a weak supply or a cable that loses frames.", bare,
			fmt.Sprintf("%d tags of %d have no write; the board told of %d of them as written", len(bare), len(bare)+met, told)), true
	}
	return fault(FaultTagWithoutCoil, "a tag without a coil", "Whether the card is on the board's list, and what the firmware writes for it.", bare,
		fmt.Sprintf("%d tags came and no coil was written", len(bare))), true
}
