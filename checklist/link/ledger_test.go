package link_test

import (
	"errors"
	"net"
	"runtime"
	"sync"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
)

// ledger is a stand-in's clock and record: it stamps all frames alike, keeps them
// and counts what is counted off.
type ledger struct {
	mu     sync.Mutex
	frames []checklist.Frame
	landed int
	broken bool
	more   chan struct{} // gets one for each frame
}

func newLedger() *ledger { return &ledger{more: make(chan struct{}, 1000)} }

var stamp = time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)

func (*ledger) Now() time.Time { return stamp }

func (l *ledger) Land(n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.landed += n
}

func (l *ledger) count() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.landed
}

func (l *ledger) record(f checklist.Frame) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.broken {
		return errors.New("no space left")
	}
	l.frames = append(l.frames, f)
	l.more <- struct{}{}
	return nil
}

func (l *ledger) all() []checklist.Frame {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]checklist.Frame(nil), l.frames...)
}

// await returns once there are n frames.
func (l *ledger) await(t *testing.T, n int) []checklist.Frame {
	t.Helper()
	limit := time.After(10 * time.Second)
	for len(l.all()) < n {
		select {
		case <-l.more:
		case <-limit:
			t.Fatalf("%d frames within 10 s, want %d: %+v", len(l.all()), n, l.all())
		}
	}
	return l.all()
}

func listen(t *testing.T, change func(*link.Config)) (*link.StandIn, *ledger) {
	t.Helper()
	l := newLedger()
	c := link.Config{Addr: "127.0.0.1:0", Base: 1, Clock: l, Record: l.record}
	if change != nil {
		change(&c)
	}
	s, err := link.Listen(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s, l
}

func dial(t *testing.T, addr string) net.Conn {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	if err := conn.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	return conn
}

func send(t *testing.T, conn net.Conn, adu []byte) {
	t.Helper()
	if _, err := conn.Write(adu); err != nil {
		t.Fatal(err)
	}
}

func ask(t *testing.T, conn net.Conn, adu []byte) []byte {
	t.Helper()
	send(t, conn, adu)
	reply, err := link.ReadADU(conn)
	if err != nil {
		t.Fatalf("reply to % X: %v", adu, err)
	}
	return reply
}

// landed waits until n are counted off, and sees that no more are.
func landed(t *testing.T, l *ledger, n int) {
	t.Helper()
	limit := time.Now().Add(10 * time.Second)
	for l.count() < n && time.Now().Before(limit) {
		runtime.Gosched()
	}
	if got := l.count(); got != n {
		t.Fatalf("%d counted off; want %d", got, n)
	}
}
