package link

import (
	"slices"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// Windows of the time line; from experience, no source.
const (
	pairBefore  = 500 * time.Millisecond // a write may come that long before the console's word of its tag
	pairAfter   = 5 * time.Second        // and that long after
	sameShowing = 3 * time.Second        // words of one tag within that are one showing
	sameWrite   = time.Second            // the same write again within that is a duplicate
	usbLatency  = 16 * time.Millisecond  // for which a USB adapter may hold bytes back (value from memory)
)

// A Showing is one tag at one reader as both sides tell of it: what the console said
// of its coming and going, and the writes that belong to that. Entries that are not
// there are zero.
type Showing struct {
	Reader   int
	Came, On checklist.Entry
	Left     checklist.Entry
	Off      checklist.Entry
	Twice    []checklist.Entry // the same write once more
}

// Delay is from the first byte of the console's word to the whole request at the
// controller, and how far off that may be: the console's word took its time on the
// line, and an adapter may have held it back. It may be negative: the end of a line
// can arrive after its frame. ok is false where one of the two is missing.
func (w Showing) Delay() (d, bound time.Duration, ok bool) {
	if w.Came.N == 0 || w.On.N == 0 {
		return 0, 0, false
	}
	first, last := spanOf(w.Came)
	return w.On.Frame.At.Sub(first), last.Sub(first) + usbLatency, true
}

// spanOf is when an event's first and last byte came.
func spanOf(e checklist.Entry) (first, last time.Time) {
	first, last = e.Event.First, e.Event.Last
	if first.IsZero() {
		first = e.At
	}
	if last.Before(first) {
		last = first
	}
	return first, last
}

// A TimeLine is what both sides told, put together.
type TimeLine struct {
	Showings []Showing
	Untagged []checklist.Entry // writes that switch on, or toggle, without a tag
}

// A Spread is how delays are spread, in seconds.
type Spread struct {
	N                        int
	Least, Median, Most, Off float64 // Off: how far off the largest may be
}

// Spread is that of the time line's delays; N is 0 where there are none.
func (l TimeLine) Spread() (s Spread) {
	var all []float64
	for _, w := range l.Showings {
		if d, bound, ok := w.Delay(); ok {
			all = append(all, d.Seconds())
			s.Off = max(s.Off, bound.Seconds())
		}
	}
	if s.N = len(all); s.N == 0 {
		return Spread{}
	}
	slices.Sort(all)
	s.Least, s.Most = all[0], all[s.N-1]
	s.Median = (all[(s.N-1)/2] + all[s.N/2]) / 2
	return s
}

// of is the part of a time line that is one reader's.
func (l TimeLine) of(r checklist.Reader, all []checklist.Reader) TimeLine {
	l.Showings = slices.DeleteFunc(slices.Clone(l.Showings), func(w Showing) bool { return readerOf(all, w.Reader).Index != r.Index })
	return l
}

// PairUp puts the console's words of tags and the writes at the controller on one
// time line. Pairs are looked for both ways, for the console's word may arrive after
// the frame. A write belongs to the nearest tag that has none yet.
func PairUp(entries []checklist.Entry, readers []checklist.Reader) (l TimeLine) {
	var writes []checklist.Entry
	programming := false
	for _, e := range entries {
		switch {
		case checklist.IsKind(e, parsers.KindProgramEnter, parsers.KindProgramExit, parsers.KindBoot):
			programming = e.Event.Kind == parsers.KindProgramEnter
		case programming && e.Event != nil: // a tag is enrolled then, and switches nothing
		case checklist.IsKind(e, parsers.KindTagPresent, parsers.KindCardAccepted):
			l.came(e)
		case checklist.IsKind(e, parsers.KindCardRefused):
			l.refused(e)
		case checklist.IsKind(e, parsers.KindTagAbsent):
			l.left(e)
		default:
			if _, _, ok := written(e); ok {
				writes = append(writes, e)
			}
		}
	}
	toggles := func(reader int) bool { return readerOf(readers, reader).Behaviour == behaviourToggle }
	inverted := l.inverted(writes, toggles)
	for _, e := range writes {
		coil, on, _ := written(e)
		if on == inverted && !l.anyToggle(toggles) { // what follows a tag's leaving
			l.off(e, coil)
			continue
		}
		if !l.on(e, coil, on, readers) {
			l.Untagged = append(l.Untagged, e)
		}
	}
	return l
}

// came begins a showing, unless it is a further word of the one before.
func (l *TimeLine) came(e checklist.Entry) {
	for i := len(l.Showings) - 1; i >= 0; i-- {
		if w := l.Showings[i]; w.Reader == e.Event.Reader {
			if w.Left.N == 0 && e.At.Sub(w.Came.At) < sameShowing {
				return
			}
			break
		}
	}
	l.Showings = append(l.Showings, Showing{Reader: e.Event.Reader, Came: e})
}

// refused takes a showing back: the board does not know that card, and switches
// nothing for it.
func (l *TimeLine) refused(e checklist.Entry) {
	k := len(l.Showings) - 1
	if k >= 0 && l.Showings[k].Reader == e.Event.Reader && e.At.Sub(l.Showings[k].Came.At) < sameShowing {
		l.Showings = l.Showings[:k]
	}
}

// left ends the showing that is under way at the reader.
func (l *TimeLine) left(e checklist.Entry) {
	for i := len(l.Showings) - 1; i >= 0; i-- {
		w := &l.Showings[i]
		if w.Reader == e.Event.Reader && !w.Came.At.After(e.At) {
			if w.Left.N == 0 {
				w.Left = e
			}
			return
		}
	}
}

func (l *TimeLine) anyToggle(toggles func(int) bool) bool {
	return slices.ContainsFunc(l.Showings, func(w Showing) bool { return toggles(w.Reader) })
}

// inverted reports whether most tags that come are met by a write that switches off.
func (l *TimeLine) inverted(writes []checklist.Entry, toggles func(int) bool) bool {
	against, with := 0, 0
	for _, w := range l.Showings {
		if toggles(w.Reader) {
			continue
		}
		var near checklist.Entry
		for _, e := range writes {
			d := apart(w.Came, e)
			if d < -pairBefore || d > pairAfter || w.Left.N != 0 && e.Frame.At.After(w.Left.At) {
				continue
			}
			if near.N == 0 || d.Abs() < apart(w.Came, near).Abs() {
				near = e
			}
		}
		if _, on, ok := written(near); on {
			with++
		} else if ok {
			against++
		}
	}
	return against > with
}

// apart is how long after a console's word a frame came.
func apart(event, frame checklist.Entry) time.Duration {
	first, _ := spanOf(event)
	return frame.Frame.At.Sub(first)
}

// on gives a write to the nearest showing: as its write, or as the same once more
// where it has that already. Of two readers' showings the one counts whose coil it is.
func (l *TimeLine) on(e checklist.Entry, coil int, on bool, readers []checklist.Reader) bool {
	best, least, own := -1, time.Duration(0), false
	for i, w := range l.Showings {
		d := apart(w.Came, e)
		if d < -pairBefore || d > pairAfter {
			continue
		}
		if w.On.N != 0 {
			if c, v, _ := written(w.On); c != coil || v != on || e.Frame.At.Sub(w.On.Frame.At) >= sameWrite {
				continue
			}
		}
		mine := readerOf(readers, w.Reader).Coil == coil
		if d = d.Abs(); best < 0 || mine && !own || mine == own && d < least {
			best, least, own = i, d, mine
		}
	}
	switch {
	case best < 0:
		return false
	case l.Showings[best].On.N == 0:
		l.Showings[best].On = e
	default:
		l.Showings[best].Twice = append(l.Showings[best].Twice, e)
	}
	return true
}

// off gives a write back to the last showing whose write went to the same coil.
func (l *TimeLine) off(e checklist.Entry, coil int) {
	for i := len(l.Showings) - 1; i >= 0; i-- {
		w := &l.Showings[i]
		c, _, ok := written(w.On)
		if !ok || c != coil || w.On.Frame.At.After(e.Frame.At) {
			continue
		}
		switch {
		case w.Off.N == 0:
			w.Off = e
		case e.Frame.At.Sub(w.Off.Frame.At) < sameWrite:
			w.Twice = append(w.Twice, e)
		}
		return
	}
}

// readerOf is a reader of the plan by its index; where a text names none it is the
// first.
func readerOf(readers []checklist.Reader, index int) checklist.Reader {
	for _, r := range readers {
		if r.Index == index {
			return r
		}
	}
	if len(readers) > 0 {
		return readers[0]
	}
	return checklist.Reader{Coil: -1}
}
