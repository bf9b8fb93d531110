package main

import (
	"errors"
	"flag"
	"os"
	"os/exec"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// update rewrites what the scripts compare with; the difference is to be read
// like code, and it is ignored where CI is set.
var update = flag.Bool("update", false, "rewrite the files that tests compare with")

// helpers are programs that scripts of tests call by these names: this test's own
// program plays them.
var helpers = map[string]func(){"propwright": main}

func TestMain(m *testing.M) {
	testscript.Main(m, helpers)
}

// TestScripts runs the program as a process of its own, a script a behaviour.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			// A program built with the race detector waits a second before it ends.
			env.Setenv("GORACE", "atexit_sleep_ms=0")
			return nil
		},
		Cmds:                map[string]func(*testscript.TestScript, bool, []string){"exits": exits},
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       *update && os.Getenv("CI") == "",
	})
}

// exits runs a program and wants exactly this exit status:
//
//	exits N program args…
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits N program args…")
	}
	want, err := strconv.Atoi(args[0])
	if err != nil {
		ts.Fatalf("exits: %q is no exit status", args[0])
	}
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		exit, ok := errors.AsType[*exec.ExitError](err)
		if !ok {
			ts.Fatalf("exits: %v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}
