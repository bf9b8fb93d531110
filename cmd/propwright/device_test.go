//go:build linux

package main

import (
	"bytes"
	"context"
	"errors"
	"os/exec"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/parsers"
	"propwright/serialmon/serialtest"
	"propwright/serialmon/virtual"
)

// The device path is the real one: what changes the bytes between board and tool
// changes the outcome, and the same relay without a change does not.
func TestFlippedBytesMakeTheRunFail(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	program := buildProgram(t)
	for name, tt := range map[string]struct {
		flip func(i int64, b byte) byte
		want int
	}{
		"left alone":              {func(_ int64, b byte) byte { return b }, statusDone},
		"one byte in 97, one bit": {flipOneIn97, statusVerdict},
	} {
		t.Run(name, func(t *testing.T) {
			k := newKillBench(t, program)
			path, stop, err := serialtest.Relay(t.Context(), k.port, tt.flip)
			if err != nil {
				t.Fatal(err)
			}
			k.port = path
			cmd := exec.CommandContext(t.Context(), program, k.args()...)
			var errOut bytes.Buffer
			cmd.Stderr = &errOut
			if out, err := cmd.Output(); exitCode(err) != tt.want {
				t.Errorf("exit status %d, want %d\n%s%s", exitCode(err), tt.want, out, &errOut)
			}
			if err := stop(); err != nil {
				t.Errorf("relay: %v", err)
			}
		})
	}
}

func flipOneIn97(i int64, b byte) byte {
	if i%97 == 50 {
		return b ^ 0x04
	}
	return b
}

func exitCode(err error) int {
	if exit, ok := errors.AsType[*exec.ExitError](err); ok {
		return exit.ExitCode()
	}
	if err != nil {
		return -1
	}
	return 0
}

// A port that goes away in the middle of a step and comes back is a gap on record,
// and the step is begun again.
func TestAPortThatClosesIsAGap(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a quarter of a minute")
	}
	k := newKillBench(t, buildProgram(t))
	cmd := exec.CommandContext(t.Context(), k.program, k.args()...)
	var errOut bytes.Buffer
	cmd.Stderr = &errOut
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	hands, err := virtual.DialControl(k.control)
	if err != nil {
		t.Fatal(err)
	}
	defer hands.Close()
	ctx, cancel := context.WithTimeoutCause(t.Context(), 2*time.Minute, errors.New("nothing within two minutes"))
	defer cancel()
	k.await(ctx, t, "the step removal", func(e checklist.Entry) bool {
		return e.Step == "removal" && e.Event != nil && e.Event.Kind == parsers.KindCardAccepted
	})
	plug := func(in bool) {
		if _, err := hands.Do(virtual.Request{Op: virtual.OpUSB, In: &in}); err != nil {
			t.Fatal(err)
		}
	}
	plug(false)
	k.await(ctx, t, "the loss", func(e checklist.Entry) bool { return e.Event != nil && e.Event.Kind == parsers.KindDetached })
	plug(true)
	if err := cmd.Wait(); err != nil {
		t.Errorf("the run: %v\n%s", err, &errOut)
	}
	k.compare(t, false)
	var seen []string
	for _, e := range k.entries {
		switch {
		case e.Event != nil && (e.Event.Kind == parsers.KindAttached || e.Event.Kind == parsers.KindDetached):
			seen = append(seen, string(e.Event.Kind))
		case e.Event != nil && e.Event.Kind == parsers.KindGap && e.Event.Field("why") != "reset":
			seen = append(seen, "gap")
		case e.Type == checklist.EntryVerdict && e.Step == "removal":
			if e.Outcome.Attempts != 2 {
				t.Errorf("removal was attempted %d times, want 2", e.Outcome.Attempts)
			}
		}
	}
	if got, want := strings.Join(seen, " "), "attached detached attached gap detached"; got != want {
		t.Errorf("the line's story is %q, want %q", got, want)
	}
}

// await follows the journal until an entry matches.
func (k *killBench) await(ctx context.Context, t *testing.T, what string, match func(checklist.Entry) bool) {
	t.Helper()
	look := time.NewTicker(20 * time.Millisecond)
	defer look.Stop()
	for {
		if k.journal() != "" {
			k.compare(t, false)
			for _, e := range k.entries {
				if match(e) {
					return
				}
			}
		}
		select {
		case <-look.C:
		case <-ctx.Done():
			t.Fatalf("waiting for %s: %v", what, context.Cause(ctx))
		}
	}
}

// A run is not taken up with another board than it began with.
func TestResumeOnAnotherBoardIsRefused(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	program := buildProgram(t)
	k := newKillBench(t, program)
	ctx, cancel := context.WithTimeoutCause(t.Context(), time.Minute, errors.New("nothing within a minute"))
	defer cancel()
	cmd := exec.CommandContext(ctx, program, k.args()...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	k.await(ctx, t, "the step programming", func(e checklist.Entry) bool { return e.Step == "programming" && e.Type == checklist.EntryBegin })
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // killed
	k.kills++
	k.compare(t, true)
	before := len(k.entries)
	k.stop(t)

	other := newKillBench(t, program, "--mac", "02:54:57:00:00:59")
	args := k.args()
	for i, a := range args {
		switch a {
		case k.port:
			args[i] = other.port
		case k.control:
			args[i] = other.control
		}
	}
	resume := exec.CommandContext(ctx, program, append(args, "--resume")...)
	var errOut bytes.Buffer
	resume.Stderr = &errOut
	if err := resume.Run(); exitCode(err) != statusTool {
		t.Errorf("exit status %d, want %d", exitCode(err), statusTool)
	}
	for _, words := range []string{"another board", "02:54:57:00:00:59", "02:54:57:00:00:57", "try:"} {
		if !strings.Contains(errOut.String(), words) {
			t.Errorf("the message lacks %q:\n%s", words, &errOut)
		}
	}
	k.compare(t, false)
	for _, e := range k.entries[before:] {
		if e.Type == checklist.EntryVerdict {
			t.Errorf("step %q was decided on another board", e.Step)
		}
	}
}
