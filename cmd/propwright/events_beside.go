package main

import (
	"bytes"
	"errors"
	"io"
	"runtime"
	"sync/atomic"
	"time"

	"propwright/parsers"
)

// How many events are handed over at a time, or how many bytes of console text where
// that comes first. Larger ones would not stay in a core's cache on their way.
const (
	batchOfEvents = 768
	batchOfBytes  = 16 << 10
	batchKeeps    = 256 << 10 // bytes of room that a batch keeps for its next text
)

// A besidePrinter takes events in goroutines of their own and writes what they come to
// in the events' order, so that reading and printing take two cores where there are two.
type besidePrinter struct {
	out     io.Writer
	work    chan *eventBatch // to be put into words, by any
	written chan *eventBatch // the same, to be written in this order
	spare   chan *eventBatch // written, to be filled again
	batch   *eventBatch
	lender  *eventBatch // whose console the stream reads
	done    chan struct{}
	broken  atomic.Bool
	err     error // of the writer; others read it once done is closed
	closed  bool
}

// An eventBatch goes from the reader to whoever puts it into words, and on to the
// writer.
type eventBatch struct {
	console []byte // that was read into it, which the events' text is part of
	events  []parsers.Event
	bytes   int // of console text in them
	text    []byte
	err     error
	ready   chan struct{} // holds one sign once the text is there
}

// printBeside prints to out what p would.
func printBeside(out io.Writer, p eventPrinter) *besidePrinter {
	var works []eventWork
	for range runtime.GOMAXPROCS(0) {
		own := p
		own.encoder = &parsers.EventEncoder{}
		works = append(works, own.append)
	}
	return workBeside(out, works...)
}

// An eventWork appends what an event comes to.
type eventWork func(b []byte, e *parsers.Event) ([]byte, error)

// workBeside writes to out what any of the works make of each event. A single one takes
// the events in their order.
func workBeside(out io.Writer, works ...eventWork) *besidePrinter {
	ahead := 2 * runtime.GOMAXPROCS(0) // batches that the reading may be ahead of the writing
	b := &besidePrinter{
		out: out, work: make(chan *eventBatch, ahead), written: make(chan *eventBatch, ahead),
		spare: make(chan *eventBatch, ahead), done: make(chan struct{}),
	}
	for range ahead {
		b.spare <- &eventBatch{events: make([]parsers.Event, 0, batchOfEvents), ready: make(chan struct{}, 1)}
	}
	for _, w := range works {
		go b.putIntoWords(w)
	}
	go b.write()
	return b
}

func (b *besidePrinter) putIntoWords(work eventWork) {
	for batch := range b.work {
		batch.text, batch.err = batch.text[:0], nil
		for i := range batch.events {
			if batch.text, batch.err = work(batch.text, &batch.events[i]); batch.err != nil {
				break
			}
		}
		clear(batch.events)
		batch.events, batch.bytes, batch.console = batch.events[:0], 0, batch.console[:0]
		batch.ready <- struct{}{}
	}
}

func (b *besidePrinter) write() {
	defer close(b.done)
	for batch := range b.written {
		<-batch.ready
		if b.err == nil {
			var err error
			if len(batch.text) > 0 {
				_, err = b.out.Write(batch.text)
			}
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

// feed reads console text. The batch that it goes into keeps it until its events are
// put into words, so that nothing is copied for each.
func (b *besidePrinter) feed(stream *parsers.Stream, text []byte, at time.Time) {
	for len(text) > 0 && !b.closed {
		if b.batch == nil {
			b.batch = <-b.spare
		}
		lender := b.batch
		if lender.console == nil {
			lender.console = make([]byte, 0, batchOfBytes)
		}
		from := len(lender.console)
		n := min(len(text), cap(lender.console)-from)
		lender.console = append(lender.console, text[:n]...)
		b.lender = lender
		stream.Lend(lender.console[from:], at, b.take)
		b.lender = nil
		if text = text[n:]; b.batch == lender && len(lender.console) == cap(lender.console) {
			b.hand()
		}
	}
}

// take takes an event of the text that is read.
func (b *besidePrinter) take(e *parsers.Event) {
	if b.batch == nil {
		b.batch = <-b.spare
	}
	b.add(e)
	if b.batch != b.lender {
		// What the text lies in is on its way already: the lines are many and short.
		last := &b.batch.events[len(b.batch.events)-1]
		last.Raw = bytes.Clone(last.Raw)
	}
	b.handFull()
}

// print hands an event over; after close it does nothing.
func (b *besidePrinter) print(e parsers.Event) {
	if b.closed {
		return
	}
	if b.batch == nil {
		b.batch = <-b.spare
	}
	b.add(&e)
	b.handFull()
}

func (b *besidePrinter) add(e *parsers.Event) {
	b.batch.bytes += len(e.Raw)
	b.batch.events = append(b.batch.events, *e)
}

// handFull hands the batch over when it is full.
func (b *besidePrinter) handFull() {
	if len(b.batch.events) == batchOfEvents || b.batch.bytes >= batchOfBytes {
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
