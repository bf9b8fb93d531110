package virtual

import (
	"context"
	"net"
	"time"
)

// ioTimeout bounds what the computer's own network may take, in real time: far more than
// a loaded machine needs, for who gives up first would count what the other counts too.
const ioTimeout = 15 * time.Second

// answerWithin is how long the firmware waits for an answer, by the board's clock.
const answerWithin = 3 * time.Second

// exchange does something on the network when nothing else is under way there. The
// waiting is in a goroutine of its own: on a simulated clock the board's timers
// may run in the very goroutine that has to answer.
func (b *Board) exchange(f func()) {
	b.net.queue = append(b.net.queue, f)
	b.nextExchange()
}

func (b *Board) nextExchange() {
	for !b.net.busy && len(b.net.queue) > 0 {
		f := b.net.queue[0]
		b.net.queue = b.net.queue[1:]
		f()
	}
}

// io runs do without the board being locked and then done with it, unless the
// board was restarted meanwhile: then gone. The clock stands meanwhile.
func (b *Board) io(do func(), done, gone func()) {
	b.net.busy = true
	epoch := b.epoch
	b.clock.Depart(1)
	go func() {
		defer b.clock.Land(1)
		do()
		b.mu.Lock()
		defer b.unlock()
		if b.epoch != epoch {
			gone()
			return
		}
		b.net.busy = false
		done()
		b.nextExchange()
	}()
}

// dial connects to the controller. An address that nobody has takes as long to
// find that out as a real one.
func (b *Board) dial() {
	fail := func() {
		if b.net.link {
			b.print(textController(b.build.Controller, "does not answer"))
			b.dialIn(redialEvery)
		}
	}
	if b.fault(faultSocketsLeak) && b.net.sockets >= shieldSockets {
		b.after(dialTimeout, fail)
		return
	}
	if b.cfg.Controller == "" || b.fault(faultWrongMask) || b.build.Controller != b.cfg.Build.Controller {
		b.after(dialTimeout, fail)
		return
	}
	if b.cfg.CountFrames {
		b.clock.Depart(1)
	}
	var c net.Conn
	var err error
	b.io(func() {
		ctx, cancel := context.WithTimeout(context.Background(), ioTimeout)
		defer cancel()
		c, err = (&net.Dialer{}).DialContext(ctx, "tcp", b.cfg.Controller)
		if err != nil && b.cfg.CountFrames {
			b.clock.Land(1)
		}
	}, func() {
		switch {
		case err != nil:
			fail()
		case !b.net.link:
			b.hangUp(newWire(c, b.unit()))
		default:
			b.connected(newWire(c, b.unit()))
		}
	}, func() {
		if err == nil {
			b.hangUp(newWire(c, b.unit()))
		}
	})
}

// connected begins with telling the controller how the coil should be: it may have
// kept what it was told before.
func (b *Board) connected(w *wire) {
	b.net.conn = w
	b.net.sockets++
	b.misbehave(w)
	b.print(textController(b.build.Controller, "connected"))
	b.watchConnection(w)
	for reader, on := range b.net.coils {
		if on || !b.fault(faultCoilStaysOn) {
			b.exchange(func() { b.writeCoil(reader, on) })
		}
	}
}

// unit is the unit id that requests carry.
func (b *Board) unit() byte {
	if b.fault(faultWrongUnit) {
		return byte(b.build.Unit + 8)
	}
	return byte(b.build.Unit)
}

// meant is what a write asks for, after what a fault makes of it.
func (b *Board) meant(coil int, on bool) (function byte, address uint16, value bool) {
	function, address, value = writeSingleCoil, uint16(coil-b.build.Base), on
	switch b.cfg.Fault {
	case faultCoilPlusOne:
		address++
	case faultCoilMinusOne:
		address--
	case faultWrongFunction:
		function = writeSingleReg
	case faultCoilInverted:
		value = !on
	}
	return function, address, value
}

// misbehave is what two faults make of a connection.
func (b *Board) misbehave(w *wire) {
	switch b.cfg.Fault {
	case faultConnectResets:
		b.after(upsetAfter, func() { b.start(causeBrownOut) })
	case faultSocketsLeak:
		b.after(upsetAfter, func() {
			if b.net.conn == w && !b.net.busy {
				b.lost()
				b.dialIn(dialAfter)
			}
		})
	}
}

// writeCoil tells the controller of a reader's coil and then the console.
func (b *Board) writeCoil(reader int, on bool) {
	switch {
	case b.fault(faultSaysNothing):
		return
	case b.fault(faultWritesLost) && on:
		if b.net.lost++; b.net.lost%2 == 0 {
			b.print(textCoil(b.build.coil(reader), on))
			return
		}
	case b.fault(faultWritesTwice):
		b.sendCoil(reader, on)
	}
	b.sendCoil(reader, on)
}

func (b *Board) sendCoil(reader int, on bool) {
	if b.net.busy { // the same once more
		b.exchange(func() { b.sendCoil(reader, on) })
		return
	}
	w, coil := b.net.conn, b.build.coil(reader)
	if w != nil && w.closedByPeer() {
		b.lost()
		w = nil
	}
	if w == nil || !b.net.cable {
		b.print(textCoilFailed(coil, "no controller"))
		return
	}
	function, address, value := b.meant(coil, on)
	if b.cfg.CountFrames {
		b.clock.Depart(1)
	}
	write := w.writeCoil
	silent := b.cfg.Silent != nil && b.cfg.Silent()
	if silent {
		write = w.askCoil
	}
	waits := !b.cfg.CountFrames // else the clock stands until the answer is there
	if waits {
		b.after(answerWithin, func() {
			if waits {
				w.giveUp()
			}
		})
	}
	var err error
	b.io(func() {
		sent := false
		sent, err = write(function, address, value, ioTimeout)
		if !sent && b.cfg.CountFrames {
			b.clock.Land(1)
		}
	}, func() {
		waits = false
		switch {
		case err == nil && silent:
			b.net.busy = true
			b.after(answerWithin, func() {
				b.net.busy = false
				b.unanswered(w, coil)
				b.nextExchange()
			})
		case err == nil:
			b.print(textCoil(coil, on))
		case isException(err):
			b.print(textCoilFailed(coil, err.Error()))
		default:
			b.unanswered(w, coil)
		}
	}, func() {})
}

// unanswered gives a connection up on which a write got no answer.
func (b *Board) unanswered(w *wire, coil int) {
	b.print(textCoilFailed(coil, "no answer"))
	if b.net.conn == w {
		b.lost()
	}
}
