package virtual

import (
	"slices"
	"time"
)

const (
	pollEvery = 100 * time.Millisecond
	// absentPolls in a row without a tag mean that it has left.
	absentPolls = 2
	// tooLong is how long a master may stay before it counts as shown again.
	tooLong = 3 * time.Second

	redFor   = time.Second
	greenFor = 500 * time.Millisecond
)

// poll looks for a tag at each reader, ten times a second.
func (b *Board) poll() {
	for i := range b.fw.readers {
		b.pollReader(i)
	}
	b.after(pollEvery, b.poll)
}

func (b *Board) pollReader(i int) {
	u, r := b.sense(i), &b.fw.readers[i]
	if u != r.lay {
		r.lay = ""
	}
	switch {
	case u != "" && r.lay == u: // it lay there at the start, and counts once it was lifted
	case u != "" && u == r.tag:
		r.absent = 0
		b.held(i)
	case u != "":
		if r.tag != "" {
			b.left(i)
		}
		b.arrived(i, u)
	case r.tag != "":
		if r.absent++; r.absent >= absentPolls {
			b.left(i)
		}
	}
}

func (b *Board) arrived(i int, u uid) {
	r, l := &b.fw.readers[i], &b.fw.lists[b.build.list(i)]
	r.tag, r.since, r.absent, r.switched = u, b.clock.Now(), 0, false
	b.tell(i, textPresent(u))
	switch {
	case l.master == "":
		b.enrol(i, u)
	case u == l.master:
		b.switchProgramming(i)
	case l.programming:
		b.program(i, u)
	case b.known(i, u):
		b.tell(i, textAccepted(u))
		r.accepted = true
		b.showFor(&b.fw.green, greenFor)
		b.tagAccepted(i)
	default:
		b.tell(i, textRefused(u))
		b.showFor(&b.fw.red, redFor)
	}
}

// held takes note of a master that stays: it counts as shown again, once.
func (b *Board) held(i int) {
	r := &b.fw.readers[i]
	if r.tag == b.fw.lists[b.build.list(i)].master && !r.switched && b.clock.Now().Sub(r.since) > tooLong {
		r.switched = true
		b.switchProgramming(i)
	}
}

func (b *Board) left(i int) {
	r := &b.fw.readers[i]
	if b.build.Leaving == "reported" {
		b.tell(i, textGone(r.tag))
	}
	r.tag = ""
	if r.accepted {
		r.accepted = false
		b.tagLeft(i)
		b.showFor(&b.fw.green, greenFor)
	}
}

// enrol makes the first tag the master. It does not begin programming mode however
// long it stays.
func (b *Board) enrol(i int, u uid) {
	n := b.build.list(i)
	b.fw.lists[n].master, b.fw.readers[i].switched = u, true
	*b.memory.at(n).Master = u
	b.tell(i, textEnrolled(u))
	b.save()
	b.showLamps()
}

func (b *Board) switchProgramming(i int) {
	l := &b.fw.lists[b.build.list(i)]
	if l.programming && b.fault(faultStuckProgram) {
		return
	}
	l.programming = !l.programming
	b.tell(i, textProgramming(l.programming))
	b.showLamps()
}

// program adds a card that is unknown and removes one that is known.
func (b *Board) program(i int, u uid) {
	cards := b.memory.at(b.build.list(i)).Cards
	switch {
	case b.known(i, u):
		if !b.fault(faultCardsStay) {
			*cards = slices.DeleteFunc(*cards, func(c uid) bool { return c == u })
		}
		b.tell(i, textRemoved(u))
	case len(*cards) >= cardLimit:
		b.tell(i, textListFull())
		return
	default:
		*cards = append(*cards, u)
		b.tell(i, textAdded(u))
	}
	b.save()
}

// known searches the card list. With the fault last-card-lost the search ends one
// place short.
func (b *Board) known(i int, u uid) bool {
	cards := *b.memory.at(b.build.list(i)).Cards
	if b.fault(faultLastCardLost) && len(cards) > 0 {
		cards = cards[:len(cards)-1]
	}
	return slices.Contains(cards, u)
}

func (b *Board) save() {
	if err := b.memory.save(); err != nil {
		b.print(textFault("memory not written"))
	}
}
