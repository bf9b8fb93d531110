package clock

import (
	"container/heap"
	"context"
	"fmt"
	"sync"
	"time"
)

// Simulated returns a clock that shows start and moves in jumps: whenever
// nothing is under way it goes to the next timer and runs it. It begins with one
// thing under way, the caller's own goroutine; nothing moves before the first
// Land. Timers that are due at the same moment run in the order of their making.
func Simulated(start time.Time) *Sim {
	return &Sim{now: start.UTC(), under: 1}
}

// Sim is a simulated clock. It has no goroutine of its own: time moves inside
// the call of Land that leaves nothing under way.
type Sim struct {
	mu     sync.Mutex
	now    time.Time
	under  int  // goroutines, bytes and frames under way
	moving bool // a Land further up some stack is running timers
	seq    uint64
	timers timerHeap
}

type simTimer struct {
	at    time.Time
	seq   uint64
	f     func()
	index int // in the heap; -1 once taken out
}

// Now is the simulated time.
func (s *Sim) Now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// Depart adds n things under way.
func (s *Sim) Depart(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.under += n
}

// Land takes n things off and, when none is left, moves time on until a timer
// has put something under way again or no timer is left.
func (s *Sim) Land(n int) {
	s.mu.Lock()
	s.under -= n
	if s.under < 0 {
		s.mu.Unlock()
		panic(fmt.Sprintf("clock: %d more landed than departed", -s.under))
	}
	if s.moving {
		s.mu.Unlock()
		return
	}
	s.moving = true
	for s.under == 0 && len(s.timers) > 0 {
		t := heap.Pop(&s.timers).(*simTimer)
		if t.at.After(s.now) {
			s.now = t.at
		}
		s.under++
		s.mu.Unlock()
		t.f()
		s.mu.Lock()
		s.under--
	}
	s.moving = false
	s.mu.Unlock()
}

// AfterFunc calls f when the clock has moved on by d.
func (s *Sim) AfterFunc(d time.Duration, f func()) func() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.seq++
	t := &simTimer{at: s.now.Add(max(d, 0)), seq: s.seq, f: f}
	heap.Push(&s.timers, t)
	return func() bool {
		s.mu.Lock()
		defer s.mu.Unlock()
		if t.index < 0 {
			return false
		}
		heap.Remove(&s.timers, t.index)
		return true
	}
}

// Sleep blocks until the clock has moved on by d.
func (s *Sim) Sleep(ctx context.Context, d time.Duration) error {
	woken := make(chan struct{})
	stop := s.AfterFunc(d, func() {
		s.Depart(1) // the sleeper is under way again before time can move
		close(woken)
	})
	s.Land(1)
	select {
	case <-woken:
		return nil
	case <-ctx.Done():
		if stop() {
			s.Depart(1)
		} else {
			<-woken
		}
		return context.Cause(ctx)
	}
}

// Basis is BasisSimulated.
func (*Sim) Basis() Basis { return BasisSimulated }

// Pace is 0: simulated time has no fixed relation to real time.
func (*Sim) Pace() float64 { return 0 }

type timerHeap []*simTimer

func (h timerHeap) Len() int { return len(h) }
func (h timerHeap) Less(i, j int) bool {
	if !h[i].at.Equal(h[j].at) {
		return h[i].at.Before(h[j].at)
	}
	return h[i].seq < h[j].seq
}
func (h timerHeap) Swap(i, j int) {
	h[i], h[j] = h[j], h[i]
	h[i].index, h[j].index = i, j
}

func (h *timerHeap) Push(x any) {
	t := x.(*simTimer)
	t.index = len(*h)
	*h = append(*h, t)
}

func (h *timerHeap) Pop() any {
	old := *h
	t := old[len(old)-1]
	old[len(old)-1] = nil
	*h = old[:len(old)-1]
	t.index = -1
	return t
}
