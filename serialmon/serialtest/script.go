package serialtest

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"propwright/serialmon"
)

// ErrClosed is what a Script's Read returns once it was closed.
var ErrClosed = errors.New("script closed")

// A Step is what one Read of a Script answers. An empty one is a time-out: no
// bytes and no error.
type Step struct {
	B   []byte
	Err error
	// Gate, where not nil, is received from before the step is answered.
	Gate <-chan struct{}
	// Reached, where not nil, is closed when the step is answered.
	Reached chan<- struct{}
}

// A Script is a port that answers each Read with its next step and then waits to
// be closed.
type Script struct {
	// NoLines makes PulseReset answer that there are no control lines.
	NoLines bool
	// HangClose, where not nil, is received from before Close returns, and Close
	// does not end a Read: a driver that hangs.
	HangClose <-chan struct{}

	mu     sync.Mutex
	steps  []Step
	reads  int // answered with an error
	speeds []int
	pulses int
	closed chan struct{}
	once   sync.Once
}

// NewScript returns a port with that script.
func NewScript(steps ...Step) *Script {
	return &Script{steps: steps, closed: make(chan struct{})}
}

// Say is a step that brings bytes.
func Say(text string) Step { return Step{B: []byte(text)} }

// Break is a step that ends the line.
func Break(err error) Step { return Step{Err: err} }

// Read answers with the next step.
func (p *Script) Read(b []byte) (int, error) {
	p.mu.Lock()
	if len(p.steps) == 0 {
		p.mu.Unlock()
		<-p.closed
		return 0, p.failed(ErrClosed)
	}
	st := p.steps[0]
	p.steps = p.steps[1:]
	p.mu.Unlock()
	if st.Gate != nil {
		select {
		case <-st.Gate:
		case <-p.closed:
			return 0, p.failed(ErrClosed)
		}
	}
	if st.Reached != nil {
		close(st.Reached)
	}
	n := copy(b, st.B)
	if n < len(st.B) {
		return n, p.failed(fmt.Errorf("script: step of %d bytes for a read of %d", len(st.B), len(b)))
	}
	if st.Err != nil {
		return n, p.failed(st.Err)
	}
	return n, nil
}

func (p *Script) failed(err error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.reads++
	return err
}

// SetSpeed notes the speed.
func (p *Script) SetSpeed(baud int) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.speeds = append(p.speeds, baud)
	return nil
}

// PulseReset counts.
func (p *Script) PulseReset(context.Context) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.NoLines {
		return serialmon.ErrNoLines
	}
	p.pulses++
	return nil
}

// Close ends a Read that waits.
func (p *Script) Close() error {
	if p.HangClose != nil {
		<-p.HangClose
	}
	p.once.Do(func() { close(p.closed) })
	return nil
}

// Closed reports whether Close has been called and came through.
func (p *Script) Closed() bool {
	select {
	case <-p.closed:
		return true
	default:
		return false
	}
}

// FailedReads is how many Reads have returned an error.
func (p *Script) FailedReads() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.reads
}

// Speeds returns the speeds that were set, in order.
func (p *Script) Speeds() []int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]int(nil), p.speeds...)
}

// Pulses is how often the board was reset by the control lines.
func (p *Script) Pulses() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.pulses
}

// Left is how many steps were not read.
func (p *Script) Left() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.steps)
}

// Openings is an opener that gives out scripts in order. Where one is not there
// yet, nil, or none is left, the port is missing. It notes what it was asked for.
type Openings struct {
	mu      sync.Mutex
	scripts []*Script
	asked   []Opening
}

// An Opening is one call of an opener.
type Opening struct {
	Name    string
	Speed   int
	NoReset bool
}

// Open returns an opener over the scripts.
func Open(scripts ...*Script) *Openings { return &Openings{scripts: scripts} }

// Opener is the function to attach with.
func (o *Openings) Opener(name string, speed int, noReset bool) (serialmon.Port, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.asked = append(o.asked, Opening{name, speed, noReset})
	var next *Script
	if len(o.scripts) > 0 {
		next, o.scripts = o.scripts[0], o.scripts[1:]
	}
	if next == nil {
		return nil, &serialmon.OpenError{Name: name, Reason: serialmon.ReasonMissing}
	}
	return next, nil
}

// Asked returns every call so far.
func (o *Openings) Asked() []Opening {
	o.mu.Lock()
	defer o.mu.Unlock()
	return append([]Opening(nil), o.asked...)
}
