package main

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"propwright/checklist"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
)

// A bench is a board at an open port, as a script needs it.
type bench struct {
	clock clock.Clock
	reset func(context.Context) error
	// since is what was heard from a place on, and the place for the next call; the
	// beginning is 0.
	since func(from int64) (heard []parsers.Event, next int64)
}

// heardEvents keeps what a session of its own has heard.
type heardEvents struct {
	mu   sync.Mutex
	list []parsers.Event
}

func (h *heardEvents) add(e parsers.Event) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.list = append(h.list, e)
}

func (h *heardEvents) since(from int64) ([]parsers.Event, int64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.list[from:], int64(len(h.list))
}

// attach opens the port for the diagnosis alone: what is heard goes nowhere else.
func (c *diagnosis) attach(ctx context.Context, d deps) (*serialmon.Session, *bench, error) {
	speed, auto, err := readSpeed(c.o.speed, 115200)
	if err != nil {
		return nil, nil, err
	}
	profiles, err := chooseWording(c.o.wording, c.o.site)
	if err != nil {
		return nil, nil, err
	}
	heard := &heardEvents{}
	options := c.o.at
	options.Name, options.Speed = c.o.port, speed
	if options.Clock == nil {
		options.Clock = clock.Real()
	}
	options.Sink = newConsole(options.Clock, parsers.NewStream(profiles...), func(e checklist.Entry) (checklist.Entry, error) {
		if e.Event != nil {
			heard.add(*e.Event)
		}
		return e, nil
	})
	session, err := serialmon.Attach(ctx, options)
	if err != nil {
		return nil, nil, toolSide("", err)
	}
	if auto {
		if err := chooseSpeed(ctx, d, session); err != nil {
			return nil, nil, toolSide("", errors.Join(err, session.Close()))
		}
	}
	return session, &bench{clock: options.Clock, reset: session.Reset, since: heard.since}, nil
}

// listen hears the board for a time. In a talk the port stays open for its scripts.
func (c *diagnosis) listen(ctx context.Context, d deps) error {
	session, at, err := c.attach(ctx, d)
	if err != nil {
		return err
	}
	fmt.Fprintf(d.err, "listening to %s for %v; opening it restarts most boards\n", c.o.port, c.o.seconds)
	if c.talks && c.o.resets == 0 {
		fmt.Fprintln(d.err, "=> Meanwhile show the prop's own tag a few times, each time for two seconds, and take it away.")
	}
	for i := 0; err == nil && i < c.o.resets; i++ {
		if err = session.Reset(ctx); err == nil {
			err = at.clock.Sleep(ctx, startTime)
		}
	}
	if err == nil {
		err = c.hearFor(ctx, at.clock, session)
	}
	if err == nil && c.talks {
		c.bench, c.letGo = at, session.Close
	} else {
		err = errors.Join(err, session.Close())
	}
	switch {
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case err != nil:
		return toolSide("", err)
	}
	reading, kept := c.k.NewReading(), &keptText{}
	events, _ := at.since(0)
	for _, e := range events {
		reading.Take(e)
		c.plan.hear(e)
		if e.Raw != nil {
			kept.Write(e.Raw)
			kept.Write([]byte("\n"))
		}
	}
	c.source, c.text = c.o.port, kept.String()
	c.story = append(c.story, fmt.Sprintf("Listened to %s for %v, with %d restarts.", c.o.port, c.o.seconds, c.o.resets))
	c.take(reading, false, "CAPTURE")
	return nil
}

// hearFor waits while the session hears, until it has ended.
func (c *diagnosis) hearFor(ctx context.Context, clk clock.Clock, session *serialmon.Session) error {
	const look = time.Second
	for left := c.o.seconds; left > 0; left -= look {
		select {
		case <-session.Done():
			return nil
		default:
		}
		if err := clk.Sleep(ctx, min(look, left)); err != nil {
			return err
		}
	}
	return nil
}

// mostResets bounds how often a board is restarted, and startTime is what each start is
// given.
const (
	mostResets = 100
	startTime  = 3 * time.Second
)
