package main

import (
	"errors"
	"io"
	"runtime"
	"sync/atomic"

	"propwright/parsers"
)

// How many events are handed over at a time, or how many bytes of console text where
// that comes first.
const (
	batchOfEvents = 256
	batchOfBytes  = 32 << 10
	batchKeeps    = 256 << 10 // bytes of room that a batch keeps for its next text
)

// A besidePrinter prints events in goroutines of their own, in the events' order, so
// that reading and printing take two cores where there are two.
type besidePrinter struct {
	out     io.Writer
	work    chan *eventBatch // to be put into words, by any
	written chan *eventBatch // the same, to be written in this order
	spare   chan *eventBatch // written, to be filled again
	batch   *eventBatch
	done    chan struct{}
	broken  atomic.Bool
	err     error // of the writer; others read it once done is closed
	closed  bool
}

// An eventBatch goes from the reader to whoever puts it into words, and on to the
// writer.
type eventBatch struct {
	events []parsers.Event
	bytes  int // of console text in them
	text   []byte
	err    error
	ready  chan struct{} // holds one sign once the text is there
}

// printBeside prints to out what p would.
func printBeside(out io.Writer, p eventPrinter) *besidePrinter {
	workers := runtime.GOMAXPROCS(0)
	ahead := 2 * workers // batches that the reading may be ahead of the writing
	b := &besidePrinter{
		out: out, work: make(chan *eventBatch, ahead), written: make(chan *eventBatch, ahead),
		spare: make(chan *eventBatch, ahead), done: make(chan struct{}),
	}
	for range ahead {
		b.spare <- &eventBatch{events: make([]parsers.Event, 0, batchOfEvents), ready: make(chan struct{}, 1)}
	}
	for range workers {
		own := p
		own.encoder = &parsers.EventEncoder{}
		go b.putIntoWords(&own)
	}
	go b.write()
	return b
}

func (b *besidePrinter) putIntoWords(p *eventPrinter) {
	for batch := range b.work {
		batch.text, batch.err = batch.text[:0], nil
		for i := range batch.events {
			if batch.text, batch.err = p.append(batch.text, &batch.events[i]); batch.err != nil {
				break
			}
		}
		clear(batch.events)
		batch.events, batch.bytes = batch.events[:0], 0
		batch.ready <- struct{}{}
	}
}

func (b *besidePrinter) write() {
	defer close(b.done)
	for batch := range b.written {
		<-batch.ready
		if b.err == nil {
			_, err := b.out.Write(batch.text)
			if err != nil {
				err = errors.Join(errPipeClosed, err)
			}
			if b.err = errors.Join(batch.err, err); b.err != nil {
				b.broken.Store(true)
			}
		}
		if cap(batch.text) > batchKeeps {
			batch.text = nil
		}
		b.spare <- batch
	}
}

// print hands an event over; after close it does nothing.
func (b *besidePrinter) print(e parsers.Event) {
	if b.closed {
		return
	}
	if b.batch == nil {
		b.batch = <-b.spare
	}
	b.batch.bytes += len(e.Raw)
	if b.batch.events = append(b.batch.events, e); len(b.batch.events) == batchOfEvents || b.batch.bytes >= batchOfBytes {
		b.hand()
	}
}

// hand sends the batch on its way.
func (b *besidePrinter) hand() {
	b.work <- b.batch
	b.written <- b.batch
	b.batch = nil
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
		if b.batch != nil {
			b.hand()
		}
		close(b.work)
		close(b.written)
		<-b.done
	}
	return b.err
}
