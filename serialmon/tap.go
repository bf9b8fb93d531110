package serialmon

import (
	"context"
	"sync"
	"time"

	"propwright/serialmon/clock"
)

// A tap collects the bytes that pass, until it has heard enough.
type tap struct {
	mu     sync.Mutex
	heard  []byte
	enough func([]byte) bool
	alarm  *alarm
}

func (t *tap) add(b []byte) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.heard = append(t.heard, b...)
	if t.enough(t.heard) {
		t.alarm.ring()
	}
}

// restart forgets what was heard so far.
func (t *tap) restart() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.heard = nil
}

func (t *tap) bytes() []byte {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.heard
}

// An alarm rings once: after its time, or sooner when told. Whoever waits for it
// is under way again before a simulated clock can move on.
type alarm struct {
	clock clock.Clock
	once  sync.Once
	rung  chan struct{}
	stop  func() bool
}

func newAlarm(c clock.Clock, after time.Duration) *alarm {
	a := &alarm{clock: c, rung: make(chan struct{})}
	a.stop = c.AfterFunc(after, a.ring)
	return a
}

func (a *alarm) ring() {
	a.once.Do(func() {
		a.clock.Depart(1)
		close(a.rung)
	})
}

// cancel keeps the alarm from ringing. A caller that will not wait calls it.
func (a *alarm) cancel() {
	a.stop()
	a.once.Do(func() {})
	select {
	case <-a.rung:
		a.clock.Land(1) // it counted somebody in who does not come
	default:
	}
}

// wait blocks until the alarm rings or ctx ends. The caller must count as under
// way, and does again when wait returns.
func (a *alarm) wait(ctx context.Context) error {
	defer a.stop()
	a.clock.Land(1)
	select {
	case <-a.rung:
		return nil
	case <-ctx.Done():
		a.ring() // counts the caller in again, or finds that done
		return context.Cause(ctx)
	}
}
