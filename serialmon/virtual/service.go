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

// poll looks for a tag, ten times a second.
func (b *Board) poll() {
	u, fw := b.sense(), &b.fw
	switch {
	case u != "" && u == fw.tag:
		fw.absent = 0
		b.held()
	case u != "":
		if fw.tag != "" {
			b.left()
		}
		b.arrived(u)
	case fw.tag != "":
		if fw.absent++; fw.absent >= absentPolls {
			b.left()
		}
	}
	b.after(pollEvery, b.poll)
}

func (b *Board) arrived(u uid) {
	fw := &b.fw
	fw.tag, fw.since, fw.absent, fw.switched = u, b.clock.Now(), 0, false
	b.print(textPresent(u))
	switch {
	case fw.master == "":
		b.enrol(u)
	case u == fw.master:
		b.switchProgramming()
	case fw.programming:
		b.program(u)
	case b.known(u):
		b.print(textAccepted(u))
		fw.accepted = true
		b.showFor(&fw.green, greenFor)
		b.wantCoil(true)
	default:
		b.print(textRefused(u))
		b.showFor(&fw.red, redFor)
	}
}

// held takes note of a master that stays: it counts as shown again, once.
func (b *Board) held() {
	fw := &b.fw
	if fw.tag == fw.master && !fw.switched && b.clock.Now().Sub(fw.since) > tooLong {
		fw.switched = true
		b.switchProgramming()
	}
}

func (b *Board) left() {
	fw := &b.fw
	if b.build.Leaving == "reported" {
		b.print(textGone(fw.tag))
	}
	fw.tag = ""
	if fw.accepted {
		fw.accepted = false
		b.wantCoil(false)
		b.showFor(&fw.green, greenFor)
	}
}

// enrol makes the first tag the master. It does not begin programming mode however
// long it stays.
func (b *Board) enrol(u uid) {
	b.fw.master, b.fw.switched = u, true
	b.memory.Master = u
	b.print(textEnrolled(u))
	b.save()
	b.showLamps()
}

func (b *Board) switchProgramming() {
	fw := &b.fw
	if fw.programming && b.fault(faultStuckProgram) {
		return
	}
	fw.programming = !fw.programming
	b.print(textProgramming(fw.programming))
	b.showLamps()
}

// program adds a card that is unknown and removes one that is known.
func (b *Board) program(u uid) {
	m := b.memory
	switch {
	case b.known(u):
		if !b.fault(faultCardsStay) {
			m.Cards = slices.DeleteFunc(m.Cards, func(c uid) bool { return c == u })
		}
		b.print(textRemoved(u))
	case len(m.Cards) >= cardLimit:
		b.print(textListFull())
		return
	default:
		m.Cards = append(m.Cards, u)
		b.print(textAdded(u))
	}
	b.save()
}

// known searches the card list. With the fault last-card-lost the search ends one
// place short.
func (b *Board) known(u uid) bool {
	cards := b.memory.Cards
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
