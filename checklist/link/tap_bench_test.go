package link_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
)

// echo is a controller that answers each write with itself, as function 05 has it.
func echo(b *testing.B) string {
	b.Helper()
	return serve(b, func(c net.Conn) { _, _ = io.Copy(c, c) })
}

// BenchmarkTapDelay times a write and its answer on loopback, straight to a controller
// and through the tap; the difference of the two p99 is what the tap adds. Wanted is
// less than 0.3 ms.
func BenchmarkTapDelay(b *testing.B) {
	to := echo(b)
	var l quietLedger
	tap, err := link.ListenTap(b.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: l.record}, to)
	if err != nil {
		b.Fatal(err)
	}
	defer tap.Close()
	var straight float64
	for _, way := range []struct{ name, addr string }{{"straight", to}, {"tap", tap.Addr()}} {
		b.Run(way.name, func(b *testing.B) {
			conn, err := net.Dial("tcp", way.addr)
			if err != nil {
				b.Fatal(err)
			}
			defer conn.Close()
			request := []byte{0, 1, 0, 0, 0, 6, 1, 5, 0, 116, 0xFF, 0}
			reply := make([]byte, len(request))
			took := make([]time.Duration, 0, b.N)
			for b.Loop() {
				begin := time.Now()
				if _, err := conn.Write(request); err != nil {
					b.Fatal(err)
				}
				if _, err := io.ReadFull(conn, reply); err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(begin))
			}
			slices.Sort(took)
			at := func(p float64) float64 { return float64(took[int(p*float64(len(took)-1))].Microseconds()) / 1000 }
			b.ReportMetric(at(0.5), "ms-p50")
			b.ReportMetric(at(0.99), "ms-p99")
			if way.name == "straight" {
				straight = at(0.99)
			} else {
				b.ReportMetric(at(0.99)-straight, "ms-p99-added")
			}
		})
	}
}

// BenchmarkEightConnections writes over eight connections at once, sees that no answer
// is lost or out of order, and that what the tap records is whole. One operation is one
// write; the heap is what is in use after all of them. Straight is the baseline.
func BenchmarkEightConnections(b *testing.B) {
	to := echo(b)
	var mu sync.Mutex
	next := map[uint64]int{} // by connection, the address that is to come
	recorded := 0
	record := func(f checklist.Frame) error {
		if f.Kind != checklist.FrameRequest {
			return nil
		}
		mu.Lock()
		defer mu.Unlock()
		if f.Address != next[f.Conn] {
			return fmt.Errorf("address %d on record, want %d", f.Address, next[f.Conn])
		}
		next[f.Conn] = (f.Address + 1) & 0xFFFF
		recorded++
		return nil
	}
	var l quietLedger
	tap, err := link.ListenTap(b.Context(), link.Config{Addr: "127.0.0.1:0", Clock: &l, Record: record}, to)
	if err != nil {
		b.Fatal(err)
	}
	defer tap.Close()
	for _, way := range []struct{ name, addr string }{{"straight", to}, {"tap", tap.Addr()}} {
		b.Run(way.name, func(b *testing.B) {
			recorded = 0
			const connections = 8
			each := (b.N + connections - 1) / connections
			var work sync.WaitGroup
			failed := make(chan error, connections)
			for range connections {
				work.Go(func() { failed <- writeAll(way.addr, each) })
			}
			work.Wait()
			for range connections {
				if err := <-failed; err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(each*connections)/b.Elapsed().Seconds(), "writes/s")
			mu.Lock()
			defer mu.Unlock()
			if way.name == "tap" && recorded != each*connections {
				b.Errorf("%d on record, want %d", recorded, each*connections)
			}
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.HeapInuse)/(1<<20), "heap-MB")
		})
	}
}

// writeAll writes n coils one after the other over one connection and holds each answer
// against its request.
func writeAll(addr string, n int) error {
	conn, err := net.Dial("tcp", addr)
	if err != nil {
		return err
	}
	defer conn.Close()
	request := []byte{0, 0, 0, 0, 0, 6, 1, 5, 0, 0, 0xFF, 0}
	reply := make([]byte, len(request))
	for i := range n {
		binary.BigEndian.PutUint16(request, uint16(i))
		binary.BigEndian.PutUint16(request[8:], uint16(i))
		if _, err := conn.Write(request); err != nil {
			return err
		}
		if _, err := io.ReadFull(conn, reply); err != nil {
			return err
		}
		if !bytes.Equal(request, reply) {
			return fmt.Errorf("% X is answered % X", request, reply)
		}
	}
	return nil
}
