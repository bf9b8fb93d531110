package checklist

import (
	"context"
	"errors"
	"sync"
	"time"
)

// ErrLogClosed is the answer to everything that comes after a run's log could no
// longer be written; it wraps nothing of the disk's own error, which Append gave.
var ErrLogClosed = errors.New("run log: closed")

// A Keeper stores entries so that they outlive the process. Keep returns once
// the entry would survive the process being killed; Sync once it would survive
// the computer losing power.
type Keeper interface {
	Keep(Entry) error
	Sync() error
}

// A Log is the one ordered, append-only record of a run. It is safe for
// concurrent use: events, frames and answers come from different goroutines and
// get their order here. Nothing that reads takes anything away.
type Log struct {
	clock  Clock
	keeper Keeper

	mu      sync.Mutex
	entries []Entry
	belief  Belief
	waiters map[*waiter]struct{}
	place   Place
	broken  error
}

type waiter struct {
	woken  chan struct{}
	timeUp bool
}

// NewLog returns a log that continues earlier entries, which the keeper already
// has. The goroutine that calls Wait counts as under way on the clock.
func NewLog(clock Clock, keeper Keeper, earlier []Entry) *Log {
	l := &Log{clock: clock, keeper: keeper, waiters: map[*waiter]struct{}{}, belief: NewBelief()}
	for _, e := range earlier {
		l.entries = append(l.entries, e)
		l.belief.Fold(e)
	}
	return l
}

// Append stores an entry, numbers it and wakes who waits. The entry's time is
// that of the clock unless it has one. What cannot be stored is not appended, and
// the log takes nothing after it: a verdict must not rest on what is not on disk.
func (l *Log) Append(e Entry) (Entry, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.broken != nil {
		return Entry{}, l.broken
	}
	e.N = int64(len(l.entries)) + 1
	if e.At.IsZero() {
		e.At = l.clock.Now()
	}
	e.Sitting, e.Step, e.Reader = l.place.Sitting, l.place.Step, l.place.Reader
	if err := l.keeper.Keep(e); err != nil {
		l.broken = errors.Join(ErrLogClosed, err)
		for w := range l.waiters {
			l.wake(w, false)
		}
		return Entry{}, err
	}
	l.entries = append(l.entries, e)
	l.belief.Fold(e)
	for w := range l.waiters {
		l.wake(w, false)
	}
	return e, nil
}

// Sync makes all entries survive a power cut.
func (l *Log) Sync() error { return l.keeper.Sync() }

// under names the step that entries from now on belong to.
func (l *Log) under(place Place) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.place = place
}

// Len is how many entries there are.
func (l *Log) Len() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return int64(len(l.entries))
}

// Entries returns the entries after number n, oldest first. The slice is the
// caller's; what it holds is shared and must not be changed.
func (l *Log) Entries(after int64) []Entry {
	l.mu.Lock()
	defer l.mu.Unlock()
	after = min(max(after, 0), int64(len(l.entries)))
	return append([]Entry(nil), l.entries[after:]...)
}

// Belief is what the entries so far say the board is in.
func (l *Log) Belief() Belief {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.belief.clone()
}

// Wait returns once there is an entry after number n, or timeUp at until.
func (l *Log) Wait(ctx context.Context, n int64, until time.Time) (timeUp bool, err error) {
	if err := context.Cause(ctx); err != nil {
		return false, err
	}
	l.mu.Lock()
	if l.broken != nil || int64(len(l.entries)) > n {
		defer l.mu.Unlock()
		return false, l.broken
	}
	w := &waiter{woken: make(chan struct{})}
	l.waiters[w] = struct{}{}
	l.mu.Unlock()

	stop := l.clock.AfterFunc(until.Sub(l.clock.Now()), func() { l.wakeLocked(w, true) })
	defer stop()
	l.clock.Land(1)
	select {
	case <-w.woken:
	case <-ctx.Done():
		l.wakeLocked(w, false)
		<-w.woken
		return false, context.Cause(ctx)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return w.timeUp, l.broken
}

func (l *Log) wakeLocked(w *waiter, timeUp bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.wake(w, timeUp)
}

// wake ends a wait. The waiter counts as under way again before it runs, so a
// simulated clock cannot move in between.
func (l *Log) wake(w *waiter, timeUp bool) {
	if _, waits := l.waiters[w]; !waits {
		return
	}
	delete(l.waiters, w)
	w.timeUp = timeUp
	l.clock.Depart(1)
	close(w.woken)
}

// A Cursor is one reader's own place in the log.
type Cursor struct{ n int64 }

// CursorAt returns a cursor that next reads the entry after number n.
func CursorAt(n int64) *Cursor { return &Cursor{n: n} }

// Next returns the next entry, waiting for it until the given time; ok is false
// when the time is up.
func (c *Cursor) Next(ctx context.Context, l *Log, until time.Time) (e Entry, ok bool, err error) {
	for {
		l.mu.Lock()
		if c.n < int64(len(l.entries)) {
			e := l.entries[c.n]
			c.n++
			l.mu.Unlock()
			return e, true, nil
		}
		l.mu.Unlock()
		timeUp, err := l.Wait(ctx, c.n, until)
		if err != nil || timeUp {
			return Entry{}, false, err
		}
	}
}

// entry returns the entry of a number, the zero Entry when there is none.
func (l *Log) entry(n int64) Entry {
	l.mu.Lock()
	defer l.mu.Unlock()
	if n < 1 || n > int64(len(l.entries)) {
		return Entry{}
	}
	return l.entries[n-1]
}
