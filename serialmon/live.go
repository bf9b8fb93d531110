package serialmon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"time"
)

const (
	// A port is looked for this often at first, and for this long; then ever more
	// slowly, down to once in the last of the three.
	pollFirst  = 50 * time.Millisecond
	pollFor    = 5 * time.Second
	pollSlowly = time.Second
	// closeLimit bounds the wait for a driver that does not let go of a port.
	closeLimit = 400 * time.Millisecond
	// noticeLimit bounds the wait for the other end to see an opening or closing.
	noticeLimit = 5 * time.Second
)

// An attachment is one opening of the port, with the goroutine that reads it.
type attachment struct {
	port     Port
	number   int
	identity string
	ended    chan error  // the error that ended reading
	dropped  atomic.Bool // its bytes are not wanted any more
}

// open opens the port and waits until the other end has noticed.
func (s *Session) open(ctx context.Context, name string, number int, noReset bool) (*attachment, error) {
	port, err := s.opt.Open(name, s.Speed(), noReset)
	if err != nil {
		return nil, err
	}
	a := &attachment{port: port, number: number, identity: s.opt.Identity(name), ended: make(chan error, 1)}
	if err := s.notice(ctx); err != nil {
		closeWithin(port)
		return nil, err
	}
	return a, nil
}

func (s *Session) notice(ctx context.Context) error {
	if s.opt.Notice == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, noticeLimit)
	defer cancel()
	if err := s.opt.Notice(ctx); err != nil {
		return fmt.Errorf("port %q: other end: %w", s.opt.Name, err)
	}
	return nil
}

// begin starts to read.
func (s *Session) begin(a *attachment) {
	go func() { a.ended <- s.pump(a) }()
}

// pump reads until the first error: after a hang-up every further Read would
// return at once. It touches nothing but memory.
func (s *Session) pump(a *attachment) error {
	buf := make([]byte, 32<<10)
	for {
		n, err := a.port.Read(buf)
		if n > 0 {
			at := s.opt.Clock.Now()
			if !s.queue.putBytes(bytes.Clone(buf[:n]), at, &a.dropped) {
				s.opt.Clock.Land(n)
			}
		}
		if err != nil {
			return err
		}
	}
}

// retire closes the port and waits for reading to end, each only for a while: a
// driver that hangs is left behind, and what it still brings is not wanted.
func (s *Session) retire(a *attachment) {
	closeWithin(a.port)
	within(func() { a.ended <- <-a.ended })
	a.dropped.Store(true)
	s.queue.wake()
}

// closeWithin closes a port. An error of closing tells nothing that could be acted
// on: the port is not used any more.
func closeWithin(port Port) { within(func() { port.Close() }) }

// within runs f and returns when it has, or after a while without.
func within(f func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		f()
	}()
	t := time.NewTimer(closeLimit)
	defer t.Stop()
	select {
	case <-done:
	case <-t.C:
	}
}

// live owns the port, from attachment to attachment, until the session ends.
func (s *Session) live(ctx context.Context, a *attachment, delivered <-chan error) {
	defer close(s.done)
	a, why := s.run(ctx, a)
	if a != nil {
		s.retire(a)
		s.mark(Mark{Kind: MarkDetached, At: s.opt.Clock.Now(), Attachment: a.number, Why: WhyLetGo}, nil, s.turn(false))
	}
	s.cancel(why) // for an end that did not come from outside; without effect else
	s.queue.close()
	// An error of sink or recorder counts above all, even where it came after
	// another end: what was heard is not all in their hands.
	s.err = <-delivered
	if why := context.Cause(ctx); s.err == nil && !errors.Is(why, errLetGo) && !errors.Is(why, errEnded) {
		s.err = why
	}
}

// run returns why the session ends, and the attachment if one is open then.
func (s *Session) run(ctx context.Context, a *attachment) (*attachment, error) {
	var losses lossCount
	for {
		last, open, err := s.watch(ctx, a)
		if open && ctx.Err() != nil {
			return last, context.Cause(ctx)
		}
		lostAt := s.opt.Clock.Now()
		m := Mark{Kind: MarkDetached, At: lostAt, Attachment: last.number, Why: describeLoss(err)}
		s.mark(m, nil, s.turn(false))
		if open {
			s.retire(last) // at once: while a dead handle is open the device comes back under another name
		}
		if s.opt.Once {
			if errors.Is(err, io.EOF) {
				return nil, errEnded
			}
			return nil, fmt.Errorf("port %q: %w: %w", s.opt.Name, ErrLost, err)
		}
		if a, err = s.comeBack(ctx, last, lostAt, losses.add(lostAt)); err != nil {
			return nil, err
		}
	}
}

// watch does what is asked of the port until it is lost or the session is to end.
// It returns the last attachment and whether that is still open. Nobody but this
// goroutine and those it calls closes a port, so an error of reading that arrives
// here is never our own doing.
func (s *Session) watch(ctx context.Context, a *attachment) (last *attachment, open bool, err error) {
	for {
		select {
		case <-ctx.Done():
			return a, true, context.Cause(ctx)
		case err := <-a.ended:
			a.ended <- err // retire looks for it
			return a, true, err
		case c := <-s.calls:
			next, err := c.do(a)
			c.reply <- err
			if next == nil {
				return a, false, err
			}
			a = next
		}
	}
}
