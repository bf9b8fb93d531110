package serialmon

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"propwright/serialmon/clock"
)

// Options say what to attach to and where what is heard goes.
type Options struct {
	Open    Opener // OpenSerial when nil
	Name    string
	Speed   int // in baud
	NoReset bool
	Clock   clock.Clock // clock.Real when nil
	Record  *Recorder   // nil: nothing is recorded; the caller closes it
	Sink    Sink        // never nil
	// Notice is called after each opening, and after a closing that is meant to
	// restart the board, before time may go on. It returns once the other end has
	// seen it. A virtual board on a simulated clock needs that; nil for all others.
	Notice func(context.Context) error
	// Identity tells what stays the same of the device behind a port when it is
	// plugged in again, or "" where that cannot be known. Another device under the
	// old name ends the session with an *IdentityError. nil: what the system says.
	Identity func(name string) string
	// Once ends the session when the port ends, as fits a pipe; otherwise the
	// session waits for the port to come back.
	Once bool
}

// A Session is a port under watch, from Attach until Close. Its methods are safe
// for concurrent use. On a simulated clock the caller of Reset, SetSpeed and
// LikelySpeed must count as under way; the session's own goroutines do not count
// and what they wait for is real.
type Session struct {
	opt    Options
	stable string // name to open the port by when it has been away
	queue  *queue
	calls  chan call
	cancel context.CancelCauseFunc
	done   chan struct{}
	speed  atomic.Int64

	mu       sync.Mutex
	err      error         // why the session ended
	tap      *tap          // who listens in on the bytes, or nil
	attached bool          // as far as the sink has been told
	turned   chan struct{} // closed and renewed when attached changes
	offset   int64         // of the next byte to deliver
}

// A call asks the goroutine that owns the port for something. It gets the present
// attachment and returns the one to go on with.
type call struct {
	do    func(*attachment) (*attachment, error)
	reply chan error
}

// Attach opens the port and begins to listen. The session lives until Close, until
// ctx ends, until the sink or the recorder returns an error, or with Once until
// the port ends. An error of opening the port comes back as the Opener gave it.
func Attach(ctx context.Context, opt Options) (*Session, error) {
	if opt.Sink == nil {
		return nil, errors.New("attach: no sink")
	}
	if opt.Open == nil {
		opt.Open = OpenSerial
	}
	if opt.Clock == nil {
		opt.Clock = clock.Real()
	}
	if opt.Identity == nil {
		opt.Identity = portIdentity
	}
	s := &Session{
		opt: opt, stable: StableName(opt.Name), queue: newQueue(),
		calls: make(chan call), done: make(chan struct{}), turned: make(chan struct{}),
	}
	s.speed.Store(int64(opt.Speed))
	a, err := s.open(ctx, opt.Name, 1, opt.NoReset)
	if err != nil {
		return nil, err
	}
	live, cancel := context.WithCancelCause(ctx)
	s.cancel = cancel
	s.announce()
	s.begin(a)
	delivered := make(chan error, 1)
	go func() { delivered <- s.deliver() }()
	go s.live(live, a, delivered)
	return s, nil
}

// announce tells of the first attachment and, when the recording goes on from an
// earlier run, of the time since.
func (s *Session) announce() {
	now := s.opt.Clock.Now()
	if s.opt.Record == nil {
		s.mark(Mark{Kind: MarkAttached, At: now, Attachment: 1}, nil, s.turn(true))
		return
	}
	s.offset = s.opt.Record.Offset()
	last := s.opt.Record.Last()
	if last.IsZero() {
		s.mark(Mark{Kind: MarkAttached, At: now, Attachment: 1}, nil, s.turn(true))
		return
	}
	s.mark(Mark{Kind: MarkAttached, At: now, Attachment: 1}, nil, nil)
	s.mark(Mark{Kind: MarkGap, At: now, Attachment: 1, Away: max(now.Sub(last), 0), Why: WhyResume},
		&[2]time.Time{last, now}, s.turn(true))
}

// mark puts a mark in line. Until it is delivered it counts as under way, so that
// a simulated clock does not run ahead of it.
func (s *Session) mark(m Mark, gap *[2]time.Time, after func()) {
	m.Name, m.Speed = s.opt.Name, s.Speed()
	s.opt.Clock.Depart(1)
	if !s.queue.put(item{mark: &m, gap: gap, after: after}) {
		s.opt.Clock.Land(1)
	}
}

// turn returns what makes a change of state known once the sink knows of it.
func (s *Session) turn(attached bool) func() {
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.attached = attached
		close(s.turned)
		s.turned = make(chan struct{})
	}
}

// Await waits until the sink has been told that the port is attached, or with
// false that it is lost. A caller that counts as under way on a simulated clock
// holds it meanwhile: that is how hands which pull a plug keep time from running
// on before the loss was seen.
func (s *Session) Await(ctx context.Context, attached bool) error {
	for {
		s.mu.Lock()
		now, turned := s.attached, s.turned
		s.mu.Unlock()
		if now == attached {
			return nil
		}
		select {
		case <-turned:
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-s.done:
			if !attached {
				return nil
			}
			return s.ended()
		}
	}
}

// Speed is the speed that the port is set to, in baud.
func (s *Session) Speed() int { return int(s.speed.Load()) }

// Close lets the port go and returns once everything heard has been delivered. It
// returns what ended the session, if that was an error; closing is none.
func (s *Session) Close() error {
	s.cancel(errLetGo)
	<-s.done
	return s.Err()
}

// Done is closed once the session has ended and everything has been delivered.
func (s *Session) Done() <-chan struct{} { return s.done }

// Err is why the session ended: nil before its end, after Close, and at the end of
// input with Once; the context's cause; or what went wrong.
func (s *Session) Err() error {
	select {
	case <-s.done:
		return s.err
	default:
		return nil
	}
}

func (s *Session) ended() error {
	if s.err != nil {
		return s.err
	}
	return fmt.Errorf("port %q: %w", s.opt.Name, ErrLost)
}

// errLetGo and errEnded end a session that did what it should.
var (
	errLetGo = errors.New(WhyLetGo)
	errEnded = errors.New(WhyEnded)
)
