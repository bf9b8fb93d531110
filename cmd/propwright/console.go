package main

import (
	"strconv"
	"sync"
	"time"

	"propwright/checklist"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
)

// When nothing comes: quietSettle is when a line's terminator is taken to be
// complete, quietFlush is when a line without one is taken as it is, as firmware
// prints it that asks for a tag and leaves the line open.
const (
	quietSettle = 300 * time.Millisecond
	quietFlush  = 2 * time.Second
)

// A console turns what a session delivers into events in the log. The bytes are
// on disk by the time it gets them.
type console struct {
	clock  clock.Clock
	append func(checklist.Entry) (checklist.Entry, error)

	mu     sync.Mutex
	stream *parsers.Stream
	quiet  []func() bool // what to do when nothing comes, still to be called off
	err    error         // the log's, kept for the next delivery
}

func newConsole(clk clock.Clock, stream *parsers.Stream, append func(checklist.Entry) (checklist.Entry, error)) *console {
	return &console{clock: clk, stream: stream, append: append}
}

// Bytes takes in what arrived.
func (c *console) Bytes(b []byte, at time.Time, _ int64) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, callOff := range c.quiet {
		callOff()
	}
	c.stream.Feed(b, at, c.emit)
	c.quiet = append(c.quiet[:0],
		c.clock.AfterFunc(quietSettle, func() { c.finish(c.stream.Settle) }),
		c.clock.AfterFunc(quietFlush, func() { c.finish(c.stream.Cut) }))
	return c.err
}

// Mark takes in what happened to the line itself.
func (c *console) Mark(m serialmon.Mark) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stream.Mark(parsers.Kind(m.Kind), m.At, markFields(m), c.emit)
	return c.err
}

func (c *console) finish(how func(func(parsers.Event))) {
	c.mu.Lock()
	defer c.mu.Unlock()
	how(c.emit)
}

// emit appends an event to the log; after an error nothing more is appended.
func (c *console) emit(e parsers.Event) {
	if c.err != nil {
		return
	}
	_, c.err = c.append(checklist.Entry{Type: checklist.EntryEvent, Event: &e})
}

// markFields are the fields that events of the computer's own carry.
func markFields(m serialmon.Mark) map[string]string {
	fields := map[string]string{}
	for name, value := range map[string]string{"port": m.Name, "why": m.Why} {
		if value != "" {
			fields[name] = value
		}
	}
	if m.Kind == serialmon.MarkAttached && m.Speed > 0 {
		fields["speed"] = strconv.Itoa(m.Speed)
	}
	if m.Kind == serialmon.MarkGap {
		fields["seconds"] = strconv.FormatFloat(m.Away.Seconds(), 'f', 3, 64)
	}
	return fields
}
