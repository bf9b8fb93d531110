package link_test

import (
	"bytes"
	"errors"
	"net"
	"os"
	"runtime"
	"sync"
	"testing"
	"time"

	"propwright/checklist/link"
)

// writesUntilEnded writes requests and never reads, until the other side has ended the
// connection. It returns how many bytes were taken.
func writesUntilEnded(t *testing.T, conn net.Conn, request []byte) (taken int) {
	t.Helper()
	many := bytes.Repeat(request, 200)
	for {
		n, err := conn.Write(many)
		taken += n
		switch {
		case errors.Is(err, os.ErrDeadlineExceeded):
			t.Fatalf("still connected after %d bytes", taken)
		case err != nil:
			return taken
		}
	}
}

// backTo waits until no more goroutines are left than before, and says so where not.
func backTo(t *testing.T, before int) {
	t.Helper()
	limit := time.Now().Add(10 * time.Second)
	for runtime.NumGoroutine() > before && time.Now().Before(limit) {
		runtime.Gosched()
	}
	if n := runtime.NumGoroutine(); n > before {
		t.Errorf("%d goroutines, %d before", n, before)
	}
}

// A client that goes on asking and never takes an answer fills what lies between: it is
// let go after a time, holds little memory and leaves nothing behind.
func TestAClientThatNeverReadsIsLetGo(t *testing.T) {
	var l quietLedger
	s, err := link.Listen(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record, TakeTime: 100 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	works(t, s.Addr())
	runtime.GC()
	var start, end runtime.MemStats
	runtime.ReadMemStats(&start)
	before := runtime.NumGoroutine()
	conn := dial(t, s.Addr())
	// 2,000 coils: 12 bytes ask for 259 (Application Protocol V1.1b3, 6.1)
	taken := writesUntilEnded(t, conn, framed(0xFF, unhex(t, "01 00 00 07 D0")))
	backTo(t, before)
	runtime.GC()
	runtime.ReadMemStats(&end)
	if grown := int64(end.HeapAlloc) - int64(start.HeapAlloc); grown > 4<<20 {
		t.Errorf("%d bytes more are held after %d bytes of requests", grown, taken)
	}
	works(t, s.Addr())
}

// deafController accepts connections and reads nothing.
func deafController(t *testing.T) (addr string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var held sync.WaitGroup
	held.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			held.Go(func() { <-t.Context().Done(); _ = conn.Close() })
		}
	})
	t.Cleanup(func() { _ = l.Close(); held.Wait() })
	return l.Addr().String()
}

// A controller that accepts and reads nothing holds a client's requests up: the
// connection ends after a time.
func TestAControllerThatNeverReadsIsGivenUp(t *testing.T) {
	l := quietLedger{}
	tap, err := link.ListenTap(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record, TakeTime: 100 * time.Millisecond}, deafController(t))
	if err != nil {
		t.Fatal(err)
	}
	defer tap.Close()
	writesUntilEnded(t, dial(t, tap.Addr()), framed(0xFF, unhex(t, "05 00 AC FF 00")))
}

// However long a controller may take: a tap that is to end ends.
func TestATapEndsBeforeAControllerThatNeverReads(t *testing.T) {
	l := quietLedger{}
	tap, err := link.ListenTap(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record, TakeTime: time.Hour}, deafController(t))
	if err != nil {
		t.Fatal(err)
	}
	conn := dial(t, tap.Addr())
	for full := false; !full; { // nothing is taken for a while: all that lies between is full
		if err := conn.SetWriteDeadline(time.Now().Add(300 * time.Millisecond)); err != nil {
			t.Fatal(err)
		}
		_, err := conn.Write(bytes.Repeat(framed(0xFF, unhex(t, "05 00 AC FF 00")), 200))
		if full = errors.Is(err, os.ErrDeadlineExceeded); err != nil && !full {
			t.Fatal(err)
		}
	}
	ended := make(chan error, 1)
	go func() { ended <- tap.Close() }()
	select {
	case err := <-ended:
		if err != nil {
			t.Errorf("Close: %v", err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("the tap does not end")
	}
}
