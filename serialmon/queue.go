package serialmon

import (
	"sync"
	"sync/atomic"
	"time"
)

// Bounds of what waits in memory between the port and the disk: five seconds of
// 200,000 bytes a second, the fastest common line.
const (
	queueBytes = 1 << 20
	queueItems = 1 << 16
)

// An item is what waits for the delivering goroutine: bytes, a mark, or both
// empty with something to do once everything before has been delivered.
type item struct {
	b     []byte
	at    time.Time
	mark  *Mark
	gap   *[2]time.Time // what the recorder is to note with the mark
	after func()
}

// A queue is bounded and in order. While it is full the reading goroutine waits,
// and the system's own buffer fills; marks are always taken.
type queue struct {
	mu     sync.Mutex
	change *sync.Cond
	items  []item
	bytes  int
	closed bool
}

func newQueue() *queue {
	q := &queue{}
	q.change = sync.NewCond(&q.mu)
	return q
}

// crowded is the backlog from which bytes that came within a millisecond share one
// item: so many single bytes cost more to keep apart than they tell.
const crowded = queueItems / 4

// putBytes waits for room. It reports whether the bytes were taken: not once the
// queue is closed, or once dropped is set and wake was called.
func (q *queue) putBytes(b []byte, at time.Time, dropped *atomic.Bool) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	for !q.closed && !dropped.Load() && (q.bytes >= queueBytes || len(q.items) >= queueItems) {
		q.change.Wait()
	}
	if q.closed || dropped.Load() {
		return false
	}
	q.bytes += len(b)
	if n := len(q.items); n >= crowded {
		if last := &q.items[n-1]; last.b != nil && at.Sub(last.at) < time.Millisecond {
			last.b = append(last.b, b...)
			return true
		}
	}
	q.items = append(q.items, item{b: b, at: at})
	q.change.Broadcast()
	return true
}

// put takes anything but bytes, however full the queue is. After close it reports
// false, and the item is not delivered.
func (q *queue) put(it item) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed {
		return false
	}
	q.items = append(q.items, it)
	q.change.Broadcast()
	return true
}

// take waits for the next item; ok is false once the queue is closed and empty.
func (q *queue) take() (it item, ok bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for len(q.items) == 0 && !q.closed {
		q.change.Wait()
	}
	if len(q.items) == 0 {
		return item{}, false
	}
	it = q.items[0]
	q.items[0] = item{}
	q.items = q.items[1:]
	q.bytes -= len(it.b)
	q.change.Broadcast()
	return it, true
}

// wake makes waiting callers look again.
func (q *queue) wake() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.change.Broadcast()
}

// close lets take run out and putBytes give up.
func (q *queue) close() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = true
	q.change.Broadcast()
}
