package main

import (
	"bytes"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"propwright/parsers"
)

// stuckWriter takes nothing until it is let go.
type stuckWriter struct {
	let chan struct{}
	bytes.Buffer
}

func (w *stuckWriter) Write(b []byte) (int, error) {
	<-w.let
	return w.Buffer.Write(b)
}

// Nobody reads what is printed: the reading stops after a little text, however long
// its lines are, and all comes out in order once somebody does.
func TestPrintingBesideHoldsLittle(t *testing.T) {
	for name, size := range map[string]int{"short lines": 20, "lines of the greatest length": parsers.MaxLine} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				const all = 20_000
				n := min(all, 64<<20/size)
				out := &stuckWriter{let: make(chan struct{})}
				p := printBeside(out, eventPrinter{})
				line := bytes.Repeat([]byte("x"), size)
				var taken atomic.Int64
				done := make(chan error)
				go func() {
					for i := range n {
						p.print(parsers.Event{Seq: uint64(i), Kind: parsers.KindNoise, Reader: parsers.NoReader, Raw: line})
						taken.Add(1)
					}
					done <- p.close()
				}()
				synctest.Wait()
				batches := 2*runtime.GOMAXPROCS(0) + 1
				if got := taken.Load(); got > int64(batches*batchOfEvents) || got*int64(size) > int64(batches*(batchOfBytes+parsers.MaxLine)) {
					t.Errorf("%d lines of %d bytes taken while nothing is written", got, size)
				}
				close(out.let)
				if err := <-done; err != nil || strings.Count(out.String(), "\n") != n {
					t.Errorf("%d lines printed, %v; want %d", strings.Count(out.String(), "\n"), err, n)
				}
			})
		})
	}
}
