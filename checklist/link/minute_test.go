package link_test

import (
	"context"
	"math/rand/v2"
	"net"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"propwright/checklist/link"
)

// babble writes random bytes until the other side ends the connection or ctx is done,
// and reads what comes meanwhile. Every other piece begins as a frame does.
func babble(ctx context.Context, conn net.Conn, random *rand.Rand, written *atomic.Int64) {
	defer context.AfterFunc(ctx, func() { _ = conn.Close() })()
	defer conn.Close()
	var reading sync.WaitGroup
	defer reading.Wait()
	reading.Go(func() {
		buf := make([]byte, 4096)
		for {
			if _, err := conn.Read(buf); err != nil {
				return
			}
		}
	})
	for pieces := 1 + random.IntN(50); pieces > 0; pieces-- {
		b := make([]byte, 1+random.IntN(600))
		for i := range b {
			b[i] = byte(random.Uint32())
		}
		if random.IntN(2) == 0 && len(b) > 8 { // a sound header with any length
			copy(b, []byte{0, 1, 0, 0, b[4] & 1, b[5], 1, b[7] & 0x1F})
		}
		n, err := conn.Write(b)
		written.Add(int64(n))
		if err != nil {
			break
		}
	}
	_ = conn.Close() // and the reader with it
}

// For a minute several clients and a controller babble: the stand-in and the tap go on,
// and neither memory, goroutines nor descriptors are left behind.
func TestAMinuteOfRandomBytes(t *testing.T) {
	long := time.Minute
	if testing.Short() {
		long = 2 * time.Second
	}
	var l quietLedger
	s, err := link.Listen(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	babbler, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer babbler.Close()
	tap, err := link.ListenTap(t.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record}, babbler.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer tap.Close()
	works(t, s.Addr())
	runtime.GC()
	var start, end runtime.MemStats
	runtime.ReadMemStats(&start)
	before := runtime.NumGoroutine()

	ctx, cancel := context.WithTimeout(t.Context(), long)
	defer cancel()
	var all sync.WaitGroup
	var written, answered atomic.Int64
	most := 0
	all.Go(func() { // the controller
		defer context.AfterFunc(ctx, func() { _ = babbler.Close() })()
		random := rand.New(rand.NewPCG(502, 0))
		for {
			conn, err := babbler.Accept()
			if err != nil {
				return
			}
			own := rand.New(rand.NewPCG(random.Uint64(), 1))
			all.Go(func() { babble(ctx, conn, own, &answered) })
		}
	})
	for i := range 6 {
		addr := s.Addr()
		if i%2 == 1 {
			addr = tap.Addr()
		}
		all.Go(func() {
			random := rand.New(rand.NewPCG(5227, uint64(i)))
			pace := time.NewTicker(20 * time.Millisecond) // else the ports of a minute's closed connections run out
			defer pace.Stop()
			for ctx.Err() == nil {
				select {
				case <-pace.C:
				case <-ctx.Done():
					return
				}
				conn, err := net.Dial("tcp", addr)
				if err != nil {
					t.Errorf("client %d: %v", i, err)
					return
				}
				babble(ctx, conn, random, &written)
				if i == 0 {
					most = max(most, descriptors())
				}
			}
		})
	}
	all.Wait()
	if written.Load() < 1<<20 || answered.Load() < 1<<16 {
		t.Errorf("only %d bytes from clients and %d from the controller", written.Load(), answered.Load())
	}
	t.Logf("%d bytes from clients, %d from the controller, %d descriptors at most", written.Load(), answered.Load(), most)
	backTo(t, before)
	if most > 200 {
		t.Errorf("%d descriptors open", most)
	}
	runtime.GC()
	runtime.ReadMemStats(&end)
	if grown := int64(end.HeapAlloc) - int64(start.HeapAlloc); grown > 4<<20 {
		t.Errorf("%d bytes more are held", grown)
	}
	worksSoon(t, s.Addr())
}
