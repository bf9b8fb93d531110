package clock

import (
	"context"
	"time"
)

// Real is the computer's own clock.
func Real() Clock { return paced{pace: 1} }

// Paced is a clock that shows anchor at the real time anchor and from there runs
// pace times as fast as the real one. Two processes that are given the same
// anchor and pace agree on the time. A pace of 0 or less counts as 1.
func Paced(anchor time.Time, pace float64) Clock {
	if pace <= 0 {
		pace = 1
	}
	return paced{anchor: anchor, pace: pace}
}

type paced struct {
	anchor time.Time // zero for the real clock
	pace   float64
}

func (p paced) Now() time.Time {
	now := time.Now()
	if p.anchor.IsZero() {
		return now.UTC()
	}
	return p.anchor.Add(time.Duration(float64(now.Sub(p.anchor)) * p.pace)).UTC()
}

func (p paced) scale(d time.Duration) time.Duration { return time.Duration(float64(d) / p.pace) }

func (p paced) Sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(p.scale(d))
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

func (p paced) AfterFunc(d time.Duration, f func()) func() bool {
	return time.AfterFunc(p.scale(d), f).Stop
}

func (paced) Depart(int) {}
func (paced) Land(int)   {}

func (p paced) Basis() Basis {
	if p.anchor.IsZero() {
		return BasisReal
	}
	return BasisPaced
}

func (p paced) Pace() float64 { return p.pace }
