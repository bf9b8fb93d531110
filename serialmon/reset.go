package serialmon

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// reopenPause is how long a port stays closed to restart a board: time enough for
// the capacitor between the control line and the reset (common practice, no source).
const reopenPause = 50 * time.Millisecond

// Reset restarts the board: by the port's control lines, or where it has none by
// closing and opening it, which gives a gap mark. It returns once everything heard
// before has been delivered. That the board did restart, only its boot text proves.
func (s *Session) Reset(ctx context.Context) error { return s.reset(ctx, func() {}) }

// reset calls settled when the bytes from before the restart have been delivered
// and those from after it not yet; where it takes two ways, twice, and the last
// time counts.
func (s *Session) reset(ctx context.Context, settled func()) error {
	done := make(chan struct{})
	after := func() {
		settled()
		close(done)
	}
	err := s.call(ctx, func(a *attachment) (*attachment, error) {
		s.queue.put(item{after: settled})
		err := a.port.PulseReset(ctx)
		switch {
		case errors.Is(err, ErrNoLines) && !s.opt.Once:
			return s.reopen(ctx, a, after)
		case err != nil:
			return a, err
		}
		s.queue.put(item{after: func() { close(done) }})
		return a, nil
	})
	if err != nil {
		return err
	}
	return s.wait(ctx, done)
}

// busyFor is how long a port that was just closed may count as in use.
const busyFor = 2 * time.Second

func isBusy(err error) bool {
	refused, is := errors.AsType[*OpenError](err)
	return is && refused.Reason == ReasonBusy
}

// reopen closes the port and opens it again, whatever becomes of ctx in between.
func (s *Session) reopen(ctx context.Context, a *attachment, after func()) (*attachment, error) {
	from := s.opt.Clock.Now()
	s.retire(a)
	if err := s.notice(ctx); err != nil {
		return nil, err
	}
	pause := time.NewTimer(reopenPause)
	defer pause.Stop()
	select {
	case <-pause.C:
	case <-ctx.Done():
	}
	next, err := s.open(ctx, s.stable, a.number+1, false)
	// A driver may take a moment to let go of what was just closed.
	for until := time.Now().Add(busyFor); isBusy(err) && time.Now().Before(until) && ctx.Err() == nil; {
		<-time.After(reopenPause)
		next, err = s.open(ctx, s.stable, a.number+1, false)
	}
	if err != nil {
		return nil, err
	}
	if err := s.same(a, next); err != nil {
		closeWithin(next.port)
		return nil, err
	}
	now := s.opt.Clock.Now()
	s.mark(Mark{Kind: MarkGap, At: now, Attachment: next.number, Away: now.Sub(from), Why: WhyReset},
		&[2]time.Time{from, now}, after)
	s.begin(next)
	return next, nil
}

// SetSpeed changes the speed of the open port, in baud. Bytes on their way may
// still be garbled.
func (s *Session) SetSpeed(ctx context.Context, baud int) error {
	if err := CheckSpeed(s.opt.Name, baud); err != nil {
		return err
	}
	return s.call(ctx, func(a *attachment) (*attachment, error) {
		if err := a.port.SetSpeed(baud); err != nil {
			return a, err
		}
		s.speed.Store(int64(baud))
		return a, nil
	})
}

// call has the goroutine that owns the port do something.
func (s *Session) call(ctx context.Context, do func(*attachment) (*attachment, error)) error {
	c := call{do: do, reply: make(chan error, 1)}
	select {
	case s.calls <- c:
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-s.done:
		return fmt.Errorf("port %q: %w", s.opt.Name, ErrLost)
	}
	select {
	case err := <-c.reply:
		return err
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// wait waits for done, or for an end.
func (s *Session) wait(ctx context.Context, done <-chan struct{}) error {
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-s.done:
		return fmt.Errorf("port %q: %w", s.opt.Name, ErrLost)
	}
}
