package main

import (
	"context"
	"io"
	"os"
	"time"
)

// run is the program with everything passed in, and returns its exit status.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	d := newDeps(in, out, errOut, os.Getenv, time.Now)
	root := newRootCmd(d)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err != nil && ctx.Err() != nil {
		err = interruptedError{err}
	}
	return printError(d.err, err)
}
