package virtual

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"propwright/serialmon"
)

// memoryLimit is how much a host may leave unread before bytes are lost.
const memoryLimit = 64 << 10

// memoryWait bounds one Read, as a serial port's does.
const memoryWait = 100 * time.Millisecond

// A MemoryLine is a Line inside the process, for systems without pseudo-terminals
// and for tests. Its Open is a serialmon.Opener.
type MemoryLine struct {
	mu      sync.Mutex
	edges   Edges
	plugged bool
	port    *memoryPort // open, or nil
}

var (
	errNoDevice = errors.New("no device is plugged in")
	errHeld     = errors.New("held by another user")
	errPulled   = errors.New("unplugged")
	errPortShut = errors.New("closed")
)

// NewMemoryLine makes a line with nothing plugged in.
func NewMemoryLine() *MemoryLine { return &MemoryLine{} }

// Open opens the host's end at a speed in baud, one host at a time. It restarts the
// board unless noReset is set. The name is for messages only.
func (l *MemoryLine) Open(name string, speed int, noReset bool) (serialmon.Port, error) {
	l.mu.Lock()
	if !l.plugged || l.port != nil {
		defer l.mu.Unlock()
		if l.port != nil {
			return nil, fmt.Errorf("port %q: %w", name, errHeld)
		}
		return nil, fmt.Errorf("port %q: %w", name, errNoDevice)
	}
	p := &memoryPort{line: l, name: name, speed: speed, change: make(chan struct{}, 1)}
	l.port = p
	opened := l.edges.Opened
	l.mu.Unlock()
	if !noReset {
		opened()
	}
	return p, nil
}

// Write passes bytes to the host that has the line open.
func (l *MemoryLine) Write(b []byte) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.port == nil {
		return 0
	}
	n := min(len(b), memoryLimit-len(l.port.unread))
	l.port.unread = append(l.port.unread, b[:n]...)
	l.port.ring()
	return n
}

// HostSpeed is the speed that the host has set, 0 while it has not opened.
func (l *MemoryLine) HostSpeed() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.port == nil {
		return 0
	}
	return l.port.speed
}

// Watch sets what is called when the host's end changes.
func (l *MemoryLine) Watch(e Edges, _ bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.edges = e
	return nil
}

// Plug puts the device there for hosts to open.
func (l *MemoryLine) Plug() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.plugged = true
	return nil
}

// Unplug takes the device away from the host, which still reads what it has got.
func (l *MemoryLine) Unplug() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.plugged = false
	if p := l.port; p != nil {
		l.port = nil
		p.ended = errPulled
		p.ring()
	}
	return nil
}

// Noticed returns at once: everything here is noticed as it happens.
func (l *MemoryLine) Noticed(context.Context) error { return nil }

// Close is Unplug.
func (l *MemoryLine) Close() error { return l.Unplug() }

// memoryPort is one opening of the host's end. The line's lock guards it.
type memoryPort struct {
	line   *MemoryLine
	name   string
	speed  int
	unread []byte
	ended  error
	change chan struct{}
}

func (p *memoryPort) ring() {
	select {
	case p.change <- struct{}{}:
	default:
	}
}

// Read waits a short while for bytes.
func (p *memoryPort) Read(b []byte) (int, error) {
	for tries := 0; ; tries++ {
		p.line.mu.Lock()
		n := copy(b, p.unread)
		p.unread = p.unread[n:]
		err := p.ended
		p.line.mu.Unlock()
		switch {
		case n > 0 || len(b) == 0:
			return n, nil
		case err != nil:
			p.ring() // for the next Read
			return 0, fmt.Errorf("port %q: %w", p.name, err)
		case tries > 0:
			return 0, nil
		}
		t := time.NewTimer(memoryWait)
		select {
		case <-p.change:
		case <-t.C:
		}
		t.Stop()
	}
}

// SetSpeed changes the host's speed.
func (p *memoryPort) SetSpeed(baud int) error {
	p.line.mu.Lock()
	defer p.line.mu.Unlock()
	if p.ended != nil {
		return fmt.Errorf("port %q: %w", p.name, p.ended)
	}
	p.speed = baud
	return nil
}

// PulseReset restarts the board.
func (p *memoryPort) PulseReset(context.Context) error {
	p.line.mu.Lock()
	err, reset := p.ended, p.line.edges.Reset
	p.line.mu.Unlock()
	if err != nil {
		return fmt.Errorf("port %q: %w", p.name, err)
	}
	reset()
	return nil
}

// Close lets the line go; what was not read is lost.
func (p *memoryPort) Close() error {
	p.line.mu.Lock()
	lost := len(p.unread)
	p.unread = nil
	was := p.ended
	p.ended = errPortShut
	if p.line.port == p {
		p.line.port = nil
	}
	closed := p.line.edges.Closed
	p.ring()
	p.line.mu.Unlock()
	if was != errPortShut {
		closed(lost)
	}
	return nil
}
