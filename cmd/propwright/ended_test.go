//go:build linux

package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/creack/pty"

	"propwright/checklist"
)

// A real process at a real terminal that is asked something: whatever ends it there,
// it says that the run can be resumed, and the contract's status is 130. A closed
// terminal is both a hang-up for who belongs to it and the end of the input.
func TestARealProcessEndedAtAQuestionCanBeResumed(t *testing.T) {
	program := buildProgram(t)
	for name, end := range map[string]func(*exec.Cmd, *os.File) error{
		"Ctrl-C":          func(_ *exec.Cmd, terminal *os.File) error { _, err := terminal.Write([]byte{0x03}); return err },
		"end of input":    func(_ *exec.Cmd, terminal *os.File) error { _, err := terminal.Write([]byte{0x04}); return err },
		"closed terminal": func(_ *exec.Cmd, terminal *os.File) error { return terminal.Close() },
		"SIGHUP":          func(cmd *exec.Cmd, _ *os.File) error { return cmd.Process.Signal(syscall.SIGHUP) },
		"SIGTERM":         func(cmd *exec.Cmd, _ *os.File) error { return cmd.Process.Signal(syscall.SIGTERM) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "site")
			site, err := makeDemoSite(t.Context(), testDeps(), dir, "test key", demoOptions{})
			if err != nil {
				t.Fatal(err)
			}
			if err := site.Close(); err != nil {
				t.Fatal(err)
			}
			master, terminal, err := pty.Open()
			if err != nil {
				t.Fatal(err)
			}
			defer master.Close()
			// The messages go to a pipe: what a closed terminal was told nobody can read.
			cmd := exec.CommandContext(t.Context(), program, "commission", demoProp, "--site", dir)
			cmd.Stdin = terminal
			cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
			said, err := cmd.StderrPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			if err := terminal.Close(); err != nil {
				t.Fatal(err)
			}
			var text bytes.Buffer
			buf := make([]byte, 4096)
			for !strings.Contains(text.String(), "?? ") {
				n, err := said.Read(buf)
				if err != nil {
					t.Fatalf("no question: %v\n%s", err, &text)
				}
				text.Write(buf[:n])
			}
			if err := end(cmd, master); err != nil {
				t.Fatal(err)
			}
			if _, err := io.Copy(&text, said); err != nil {
				t.Fatal(err)
			}
			if err := cmd.Wait(); exitCode(err) != statusInterrupted {
				t.Errorf("%v, want exit status %d\n%s", err, statusInterrupted, &text)
			}
			if want := "propwright: interrupted\ntry: propwright commission " + demoProp + " --resume goes on"; !strings.Contains(text.String(), want) {
				t.Errorf("said:\n%s\nwant %q", &text, want)
			}
			p, err := checklist.BuiltinProcedure(checklist.ProcedureNew)
			if err != nil {
				t.Fatal(err)
			}
			answers := filepath.Join(t.TempDir(), "answers.toml")
			if err := os.WriteFile(answers, []byte(demoAnswersTo(p)), 0o600); err != nil {
				t.Fatal(err)
			}
			resume := exec.CommandContext(t.Context(), program, "commission", demoProp, "--site", dir, "--answers", answers, "--resume")
			out, err := resume.CombinedOutput()
			if exitCode(err) != statusVerdict || !strings.Contains(string(out), "report 1, bench sitting") || !strings.Contains(string(out), "report: ") {
				t.Errorf("resumed: %v, want exit status %d and report 1\n%s", err, statusVerdict, out)
			}
		})
	}
}
