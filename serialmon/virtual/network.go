package virtual

import (
	"net/netip"
	"time"
)

// Times of the network side. Redialling every five seconds and asking the socket
// once a second are what such firmware does (common practice, no source).
const (
	dialAfter    = 300 * time.Millisecond // of a link
	dialTimeout  = 3 * time.Second
	redialEvery  = 5 * time.Second
	lookEvery    = time.Second
	noticeCable  = 300 * time.Millisecond // to 900: that a cable is out
	noticeSpread = 600 * time.Millisecond
	closeAfter   = 2 * time.Second        // of a pulled cable
	linkAgain    = time.Second            // to 1.5 s: that a cable is in
	upsetAfter   = 500 * time.Millisecond // of a connection, by the faults connect-resets and sockets-leak
	// shieldSockets is how many sockets the smaller shield's chip has (W5100 data sheet).
	shieldSockets = 4
	flapAfter     = 4 * time.Second // of a link, by the fault link-flaps
	flapFor       = 700 * time.Millisecond
	coilFrom      = 60 * time.Millisecond
	coilTo        = 120 * time.Millisecond
	coilSlow      = 1600 * time.Millisecond
	pulseFor      = time.Second // that a pulsing coil stays on
	// switchTakes is how long a room's network switch needs from its power until it
	// passes anything on (common practice, no source).
	switchTakes = 2 * time.Minute
)

// network is the board's network side. Only the cable and the switch at its other end
// outlive a restart.
type network struct {
	cable      bool
	cableMoves int  // counts them; a timer of an earlier one is void
	dark       bool // the switch has no power, or is not through with its own start

	gaveUp  bool // looks for no link any more before a restart
	link    bool
	conn    *wire
	busy    bool        // an exchange is under way
	queue   []func()    // exchanges to come
	dials   int         // counts what was to be dialled; a timer of an earlier one is void
	coils   []bool      // as each reader's should be
	sockets int         // connections since the start
	lost    int         // writes to switch on, by the fault writes-lost
	coilDue []coilWrite // still to be made, in order
	pulled  bool        // since the start the cable was out
}

// neighbourOf is another controller's address: that of the fault wrong-controller.
func neighbourOf(hostPort string) string {
	ap, err := netip.ParseAddrPort(hostPort)
	if err != nil || !ap.Addr().Is4() {
		return hostPort
	}
	ip := ap.Addr().As4()
	ip[3] = 99
	if ap.Addr() == netip.AddrFrom4(ip) {
		ip[3] = 98
	}
	return netip.AddrPortFrom(netip.AddrFrom4(ip), ap.Port()).String()
}

// linkFound is when the two ends of the cable have come to terms.
func (b *Board) linkFound() {
	if b.fault(faultShieldMissing) || !b.net.cable || b.net.link || b.net.gaveUp {
		return
	}
	if b.net.dark {
		b.net.gaveUp = b.fault(faultGivesUpEarly)
		return
	}
	b.net.link = true
	b.print(textLink(true))
	if b.fault(faultLinkFlaps) {
		b.afterMove(flapAfter, b.flap)
	}
	if b.net.conn == nil {
		b.dialIn(dialAfter)
	}
}

// flap loses the link for a moment, as a plug does whose contacts are worn.
func (b *Board) flap() {
	if !b.net.link {
		return
	}
	b.net.link = false
	b.print(textLink(false))
	b.afterMove(flapFor, b.linkFound)
}

// setCable pulls the network cable or puts it in.
func (b *Board) setCable(in bool) {
	n := &b.net
	if n.cable == in || b.fault(faultNoCable) {
		return
	}
	n.cable = in
	n.cableMoves++
	if !b.powered() {
		return
	}
	if in {
		b.afterMove(between(b.random.net, linkAgain, linkAgain+linkAgain/2), b.linkFound)
		return
	}
	n.pulled = true
	b.afterMove(between(b.random.net, noticeCable, noticeCable+noticeSpread), func() {
		if n.link {
			n.link = false
			b.print(textLink(false))
		}
	})
	b.afterMove(closeAfter, func() {
		if n.conn != nil {
			b.dropConnection()
			b.print(textController(b.build.Controller, "connection lost"))
		}
	})
}

// afterMove calls f unless the cable is moved again before.
func (b *Board) afterMove(d time.Duration, f func()) {
	move := b.net.cableMoves
	b.after(d, func() {
		if b.net.cableMoves == move {
			f()
		}
	})
}

// dialIn dials after a time, in place of a dial that is due already.
func (b *Board) dialIn(d time.Duration) {
	if b.fault(faultNoReconnect) && b.net.pulled {
		return
	}
	b.net.dials++
	n := b.net.dials
	b.after(d, func() {
		if b.net.dials == n && b.net.link && b.net.conn == nil {
			b.exchange(b.dial)
		}
	})
}

// watchConnection looks now and then whether the controller has closed.
func (b *Board) watchConnection(w *wire) {
	b.after(lookEvery, func() {
		if b.net.conn != w {
			return
		}
		if !b.net.busy && w.closedByPeer() {
			b.lost()
			return
		}
		b.watchConnection(w)
	})
}

// lost takes note of a connection that the controller ended.
func (b *Board) lost() {
	b.dropConnection()
	b.print(textController(b.build.Controller, "connection lost"))
	b.dialIn(redialEvery)
}

// dropConnection closes the connection from the board's side.
func (b *Board) dropConnection() {
	w := b.net.conn
	if w == nil {
		return
	}
	b.net.conn = nil
	b.hangUp(w)
}

// hangUp closes a connection. Whoever ended it, the board's own end is one more
// thing that the controller's side sees.
func (b *Board) hangUp(w *wire) {
	if b.cfg.CountFrames {
		b.clock.Depart(1)
	}
	w.close()
}

// setRoom switches all power of the room: the board's own supply, and the network
// switch, which takes its time.
func (b *Board) setRoom(on bool) {
	b.setSupply(on)
	n := &b.net
	n.dark = true
	b.roomMoves++
	if !on {
		n.link = false
		b.dropConnection()
		return
	}
	moves := b.roomMoves
	b.clock.AfterFunc(switchTakes, func() {
		b.mu.Lock()
		defer b.unlock()
		if b.roomMoves == moves && !b.closed {
			b.net.dark = false
			if b.powered() && b.fw.radio {
				b.linkFound()
			}
		}
	})
}

// tagAccepted does what the firmware's behaviour has a coil do when its tag comes.
func (b *Board) tagAccepted(reader int) {
	switch b.build.Behaviour {
	case behaviourToggle:
		b.toggled[reader] = !b.toggled[reader]
		b.wantCoil(reader, b.toggled[reader])
	case behaviourPulse:
		b.wantCoil(reader, true)
		b.after(pulseFor, func() { b.wantCoil(reader, false) })
	default:
		b.wantCoil(reader, true)
	}
}

// tagLeft does what it has a coil do when its tag has gone.
func (b *Board) tagLeft(reader int) {
	if b.build.Behaviour != behaviourToggle && b.build.Behaviour != behaviourPulse {
		b.wantCoil(reader, false)
	}
}

// What a coil does with its tag, other than to follow it.
const (
	behaviourPulse  = "pulse"
	behaviourToggle = "toggle"
)

// wantCoil makes a reader's coil go on or off.
func (b *Board) wantCoil(reader int, on bool) {
	n := &b.net
	n.coils[reader] = on
	if !on && b.fault(faultCoilStaysOn) {
		return
	}
	d := between(b.random.net, coilFrom, coilTo)
	if on && b.fault(faultSlowCoil) {
		d = coilSlow
	}
	due := b.clock.Now().Add(d)
	if k := len(n.coilDue); k > 0 && n.coilDue[k-1].at.After(due) {
		due = n.coilDue[k-1].at // a write never overtakes the one before
	}
	n.coilDue = append(n.coilDue, coilWrite{due, reader, on})
	b.after(due.Sub(b.clock.Now()), func() {
		first := n.coilDue[0]
		n.coilDue = n.coilDue[1:]
		b.exchange(func() { b.writeCoil(first.reader, first.on) })
	})
}

// A coilWrite is a write that is due.
type coilWrite struct {
	at     time.Time
	reader int
	on     bool
}
