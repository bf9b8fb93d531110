//go:build linux

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/creack/pty"

	"propwright/checklist"
	"propwright/checklist/diagnose"
)

// A terminalRun is the program at a real terminal, with somebody who answers by the words
// of the question and is told of each that was put.
type terminalRun struct {
	cmd    *exec.Cmd
	person *replier
	read   sync.WaitGroup
}

func atTerminal(t *testing.T, program, dir string, replies [][2]string, asked func(cmd *exec.Cmd, answer string) string, args ...string) *terminalRun {
	t.Helper()
	master, terminal, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { master.Close() })
	r := &terminalRun{cmd: exec.CommandContext(t.Context(), program, args...)}
	r.cmd.Dir, r.cmd.Env = dir, append(os.Environ(), "NO_COLOR=1")
	r.cmd.Stdin, r.cmd.Stdout, r.cmd.Stderr = terminal, terminal, terminal
	r.cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	r.person = &replier{replies: replies, typed: &typing{f: master, before: func(line string) string { return asked(r.cmd, line) }}}
	if err := r.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if err := terminal.Close(); err != nil {
		t.Fatal(err)
	}
	r.read.Go(func() {
		buf := make([]byte, 4096)
		for {
			n, err := master.Read(buf)
			if _, wrote := r.person.Write(buf[:n]); err != nil || wrote != nil {
				return // the terminal closes with the process
			}
		}
	})
	return r
}

func (r *terminalRun) wait() (string, error) {
	err := r.cmd.Wait()
	r.read.Wait()
	return r.person.shown.String(), err
}

// A talk whose process is ended in its middle goes on: what was answered before is there,
// is read back and is not asked for again, and the result is that of all of it.
func TestATalkThatWasCutOffGoesOn(t *testing.T) {
	program, dir := buildProgram(t), t.TempDir()
	log := filepath.Join(dir, "zero.log")
	if err := os.WriteFile(log, []byte("boot: starting reader\nreader: version 0x0 (unknown)\nreader: warning, no communication\nboot: ready\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	replies := [][2]string{{"How many minutes", "25"}, {"What is amiss", "no tag is read"}, {"did it cure?", "q"}, {"cut off after", ""}, {"?? ", "module-led=lit"}}
	n := 0
	first := atTerminal(t, program, dir, replies, func(cmd *exec.Cmd, line string) string {
		if n++; n == 4 { // minutes, symptom and one more test are answered by then
			if err := cmd.Process.Kill(); err != nil {
				t.Error(err)
			}
		}
		return line
	}, "diagnose", "--from", log)
	said, err := first.wait()
	if err == nil {
		t.Fatalf("it ended by itself:\n%s", said)
	}
	file := toldFile(dir, "")
	before, err := cutOff(file, "")
	if err != nil || len(before) != 3 || before[0].Minutes != 25 || !strings.HasPrefix(before[1].Answer, "symptom=") || before[2].Answer != "module-led=lit" {
		t.Fatalf("kept: %+v, %v; want the minutes and two answers\n%s", before, err, said)
	}
	// A line that was cut in its middle, as a power cut leaves it, does not count.
	f, err := os.OpenFile(file, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString(`{"at":"2026-03-`); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	replies[4][1] = "q"
	second := atTerminal(t, program, dir, replies, func(_ *exec.Cmd, line string) string { return line }, "diagnose", "--from", log)
	said, err = second.wait()
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	for _, want := range []string{"was cut off after 3 answers. Go on with it?", "module-led=lit: taken as module-led=lit", "heard: symptom="} {
		if !strings.Contains(said, want) {
			t.Errorf("it never said %q:\n%s", want, said)
		}
	}
	for _, no := range []string{"?? How many minutes", "?? What is amiss"} {
		if strings.Contains(said, no) {
			t.Errorf("it asked %q again:\n%s", no, said)
		}
	}
	if left, err := cutOff(file, ""); err != nil || left != nil {
		t.Errorf("after its end %+v, %v are still to go on with", left, err)
	}
}

// What was told comes back as it was: answers, a test that cannot be made, a script with
// its figures, a repair; another step's talk does not mix in.
func TestToldComesBack(t *testing.T) {
	file := filepath.Join(t.TempDir(), "diagnoses", "bell.jsonl")
	lines := []told{
		{Of: "a", Minutes: 12}, {Of: "b", Answer: "ping=none"}, {Of: "a", Test: "flex", Script: "flex", Words: "w", Found: []string{"header-pressed=cured"}},
		{Of: "a", Repair: &checklist.DiagnosisRepair{Cause: checklist.DiagnosisCause{ID: "header-joint"}}}, {Of: "b", Ended: endedStopped}, {Of: "a", Test: "ping", Skipped: true},
	}
	for _, one := range lines {
		if err := keepTold(file, one); err != nil {
			t.Fatal(err)
		}
	}
	a, err := cutOff(file, "a")
	if err != nil || len(a) != 4 {
		t.Fatalf("%+v, %v; want four lines", a, err)
	}
	if b, err := cutOff(file, "b"); err != nil || b != nil {
		t.Errorf("%+v, %v of a talk that was ended", b, err)
	}
	k, err := diagnose.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	c := newTalk(&diagnosis{k: k, situation: diagnose.Situation{Done: map[int]bool{}}}, testDeps())
	for _, one := range a {
		if err := c.apply(one); err != nil {
			t.Fatal(err)
		}
	}
	flex, ping := c.k.Test("flex"), c.k.Test("ping")
	if c.situation.Minutes >= 12 || !c.situation.Done[flex] || !c.situation.Done[ping] || !c.situation.Opened || len(c.situation.Repaired) != 1 {
		t.Errorf("situation %+v; want the minutes less the test's, both tests done, the prop open and one repair", c.situation)
	}
	if len(c.answered) != 1 || c.k.Findings[c.answered[0].Finding].ID != "header-pressed" {
		t.Errorf("evidence %+v; want what the script found", c.answered)
	}
	if err := os.WriteFile(file, []byte("{\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := cutOff(file, "a"); err == nil || !strings.Contains(err.Error(), "line 1") {
		t.Errorf("error %v; want the line named", err)
	}
}
