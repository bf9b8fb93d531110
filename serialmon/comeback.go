package serialmon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"go.bug.st/serial"
)

// comeBack looks for a lost port until it can be opened again, tells of it and of
// the gap, and begins to read. The waiting is real whatever the session's clock:
// on a simulated one it does not count as under way, so time runs on, and a plug
// that is put back is seen within a poll.
func (s *Session) comeBack(ctx context.Context, old *attachment, lostAt time.Time, often string) (*attachment, error) {
	poll := time.NewTimer(pollFirst)
	defer poll.Stop()
	every, waited := pollFirst, time.Duration(0)
	for {
		select {
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		case c := <-s.calls:
			c.reply <- fmt.Errorf("port %q: %w", s.opt.Name, ErrLost)
			continue
		case <-poll.C:
		}
		a, err := s.open(ctx, s.stable, old.number+1, s.opt.NoReset)
		if err == nil {
			if err := s.same(old, a); err != nil {
				closeWithin(a.port)
				return nil, err
			}
			s.back(a, lostAt, often)
			return a, nil
		}
		// Whatever the error: just after plugging in, even permission may be late.
		if waited += every; waited >= pollFor {
			every = min(2*every, pollSlowly)
		}
		poll.Reset(every)
	}
}

func (s *Session) back(a *attachment, lostAt time.Time, often string) {
	now := s.opt.Clock.Now()
	s.mark(Mark{Kind: MarkAttached, At: now, Attachment: a.number}, nil, nil)
	s.mark(Mark{Kind: MarkGap, At: now, Attachment: a.number, Away: now.Sub(lostAt), Why: often},
		&[2]time.Time{lostAt, now}, s.turn(true))
	s.begin(a)
}

// An IdentityError says that under a port's name another device has come back.
type IdentityError struct {
	Name    string
	Was, Is string // USB vendor, product and serial number
}

// Error is one line.
func (e *IdentityError) Error() string {
	return fmt.Sprintf("port %q: another device is there now, %q instead of %q", e.Name, e.Is, e.Was)
}

// same refuses a device that is known to be another one than before.
func (s *Session) same(old, a *attachment) error {
	if old.identity == "" || a.identity == "" || old.identity == a.identity {
		return nil
	}
	return &IdentityError{Name: s.opt.Name, Was: old.identity, Is: a.identity}
}

// describeLoss puts the end of a line into words. The library has the same word
// for a port that went away as for one that we closed.
func describeLoss(err error) string {
	const gone = "unplugged or switched off"
	if errors.Is(err, io.EOF) {
		return WhyEnded
	}
	if pe, ok := errors.AsType[*serial.PortError](err); ok && pe.Code() == serial.PortClosed {
		return gone
	}
	return fmt.Sprintf("%s: %v", gone, err)
}

// A port that is lost more than oftenMost times within oftenWithin is worth a hint
// (limits from experience, no source).
const (
	oftenWithin = time.Minute
	oftenMost   = 5
)

// lossCount remembers when a port was lost lately.
type lossCount []time.Time

// add counts one more loss and returns a hint if there were many.
func (l *lossCount) add(at time.Time) string {
	recent := (*l)[:0]
	for _, t := range *l {
		if at.Sub(t) < oftenWithin {
			recent = append(recent, t)
		}
	}
	*l = append(recent, at)
	if len(*l) <= oftenMost {
		return ""
	}
	return fmt.Sprintf("lost %d times within %v: look at the cable, the supply, and services that take adapters over",
		len(*l), oftenWithin)
}
