package main

import (
	"context"
	"errors"
	"io"
	"time"

	"propwright/parsers"
)

// followLook is how often a file that is followed is looked at.
const followLook = 100 * time.Millisecond

// follow reads on in a file that still grows, as a capture under way does, until ctx
// ends. What comes is timed by when it was seen. Text without an end is shown as a port
// would show it: settled after a moment, cut after a while.
func follow(ctx context.Context, d deps, in io.Reader, stream *parsers.Stream, p printing) error {
	buf := make([]byte, 32<<10)
	tick := time.NewTicker(followLook)
	defer tick.Stop()
	var quiet time.Duration
	for {
		n, err := in.Read(buf)
		if n > 0 {
			stream.Feed(buf[:n], d.now().UTC(), p.print)
			quiet = 0
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		if err := p.failed(); err != nil {
			return err
		}
		if n > 0 {
			continue
		}
		switch quiet += followLook; quiet {
		case quietSettle:
			stream.Settle(p.print)
		case quietFlush:
			stream.Cut(p.print)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}
