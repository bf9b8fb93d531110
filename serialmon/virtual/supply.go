package virtual

import (
	"math/rand/v2"
	"time"
)

// A cause is why a board started.
type cause string

const (
	causePower    cause = "power-on"
	causeReset    cause = "external"
	causeBrownOut cause = "brown-out"
	causeWatchdog cause = "watchdog"
)

// weakAfter is how long a weak supply holds once the radio is on.
const weakAfter = 4 * time.Millisecond

// setUSB plugs USB in or out. The line is told without the board being locked.
func (b *Board) setUSB(in bool) error {
	b.mu.Lock()
	line, was := b.line, b.usb
	if !in {
		b.usb = false
	}
	b.unlock()
	switch {
	case was == in:
		return nil
	case in && line != nil:
		if err := line.Plug(); err != nil {
			return err
		}
	case line != nil:
		if err := line.Unplug(); err != nil {
			return err
		}
	}
	b.mu.Lock()
	defer b.unlock()
	if b.closed {
		return nil
	}
	b.usb = in
	b.repower(was || b.supply)
	return nil
}

func (b *Board) setSupply(on bool) {
	was := b.powered()
	b.supply = on
	b.repower(was)
}

func (b *Board) powered() bool { return b.usb || b.supply }

// ownSupplyAlone is how a board runs in its prop.
func (b *Board) ownSupplyAlone() bool { return b.supply && !b.usb }

// repower takes note of a changed supply.
func (b *Board) repower(was bool) {
	switch {
	case !was && b.powered():
		b.start(causePower)
	case was && !b.powered():
		b.off()
	case b.fault(faultWeakAdapter) && b.ownSupplyAlone() && b.fw.radio:
		b.after(weakAfter, func() { b.start(causeBrownOut) })
	}
}

func (b *Board) off() {
	b.halt()
	b.lamps.show(b.clock.Now(), false, pattern{})
}

// reset restarts a board that has power.
func (b *Board) reset(c cause) {
	if b.powered() {
		b.start(c)
	}
}

// halt ends all that the firmware was at.
func (b *Board) halt() {
	b.epoch++
	b.cutLine()
	b.dropConnection()
	n := b.build.readers()
	b.net = network{cable: b.net.cable, cableMoves: b.net.cableMoves, dark: b.net.dark, coils: make([]bool, n)}
	b.fw = firmware{lists: make([]listState, b.build.lists()), readers: make([]readerState, n)}
}

// coldStarts decides which starts on the own supply hang: two in every five, so
// four in ten and at least two in any ten that follow each other. The first start
// of all works, or nobody would have built the board in.
type coldStarts struct {
	random *rand.Rand
	begun  bool
	block  []bool
}

func (c *coldStarts) hangs() bool {
	if !c.begun {
		c.begun = true
		return false
	}
	if len(c.block) == 0 {
		c.block = []bool{true, true, false, false, false}
		c.random.Shuffle(len(c.block), func(i, j int) { c.block[i], c.block[j] = c.block[j], c.block[i] })
	}
	hangs := c.block[0]
	c.block = c.block[1:]
	return hangs
}
