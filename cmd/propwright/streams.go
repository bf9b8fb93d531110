package main

// This file holds the rules for the terminal.
//
// stdout is data, stderr is progress and questions; with --json stdout carries
// nothing else. Colour is decided for each stream by itself: the stream is a
// terminal, NO_COLOR is not set and TERM is not "dumb". Colour only repeats what
// the words say. Answers come from a terminal on stdin or from a file, never from
// a pipe that happens to be there. Text from a board, a file or a tag passes
// parsers.Printable before it gets here.

import (
	"io"
	"os"
	"time"

	"golang.org/x/term"
)

// deps is what commands get from the outside world.
type deps struct {
	in                    io.Reader
	out, err              io.Writer
	inTTY, outTTY, errTTY bool
	env                   func(string) string
	now                   func() time.Time
}

func newDeps(in io.Reader, out, errOut io.Writer, env func(string) string, now func() time.Time) deps {
	return deps{
		in: in, out: out, err: errOut,
		inTTY: isTerminal(in), outTTY: isTerminal(out), errTTY: isTerminal(errOut),
		env: env, now: now,
	}
}

// isTerminal reports whether a stream is a file that is a terminal.
func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// outColour reports whether stdout may be coloured.
func (d deps) outColour() bool { return d.outTTY && d.colour() }

// errColour reports whether stderr may be coloured.
func (d deps) errColour() bool { return d.errTTY && d.colour() }

// colour reports what the environment has to say; https://no-color.org: set to
// anything but the empty string.
func (d deps) colour() bool { return d.env("NO_COLOR") == "" && d.env("TERM") != "dumb" }
