package main

import (
	"bufio"
	"errors"
	"io"
	"sync/atomic"

	"propwright/parsers"
)

// batchOfEvents is how many events are handed over at a time, and batchesAhead how
// many such the reading may be ahead of the printing.
const (
	batchOfEvents = 512
	batchesAhead  = 4
)

// A besidePrinter prints events in a goroutine of its own, in their order, so that
// reading and printing take two cores where there are two.
type besidePrinter struct {
	batches chan []parsers.Event
	spare   chan []parsers.Event // printed, to be filled again
	batch   []parsers.Event
	done    chan struct{}
	broken  atomic.Bool
	out     *bufio.Writer // in large pieces
	printer *eventPrinter
	closed  bool
}

// printBeside prints to out what p would.
func printBeside(out io.Writer, p eventPrinter) *besidePrinter {
	b := &besidePrinter{
		out: bufio.NewWriterSize(out, 64<<10), printer: &p,
		batches: make(chan []parsers.Event, batchesAhead), spare: make(chan []parsers.Event, batchesAhead+1),
		done: make(chan struct{}),
	}
	p.out = b.out
	go func() {
		defer close(b.done)
		for batch := range b.batches {
			for _, e := range batch {
				p.print(e)
			}
			if p.err != nil {
				b.broken.Store(true)
			}
			clear(batch)
			select {
			case b.spare <- batch[:0]:
			default:
			}
		}
	}()
	return b
}

// print hands an event over; after close it does nothing.
func (b *besidePrinter) print(e parsers.Event) {
	if b.closed {
		return
	}
	if b.batch == nil {
		select {
		case b.batch = <-b.spare:
		default:
			b.batch = make([]parsers.Event, 0, batchOfEvents)
		}
	}
	b.batch = append(b.batch, e)
	if len(b.batch) == batchOfEvents {
		b.batches <- b.batch
		b.batch = nil
	}
}

// failed returns the printer's error, which may be of some events before.
func (b *besidePrinter) failed() error {
	if !b.broken.Load() {
		return nil
	}
	return b.close()
}

// close waits until everything is printed. It may be called twice.
func (b *besidePrinter) close() error {
	if !b.closed {
		b.closed = true
		b.batches <- b.batch
		close(b.batches)
		<-b.done
		if err := b.out.Flush(); b.printer.err == nil && err != nil {
			b.printer.err = errors.Join(errPipeClosed, err)
		}
	}
	return b.printer.err
}
