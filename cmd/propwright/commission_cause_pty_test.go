//go:build linux

package main

import (
	"bufio"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/creack/pty"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/serialmon/virtual"
)

// At a real terminal, with a virtual board that has a fault in a process of its own: from
// the step that failed through the talk to the proof, and all of it in the signed report.
// A reader that answers nothing is not cured by what was said to cure it, and the proof
// says so; firmware that was built with another prop's coil is, once it is flashed anew.
func TestFromAFailedStepToTheProofAtARealTerminal(t *testing.T) {
	program := buildProgram(t)
	for name, tt := range map[string]struct {
		fault, step string
		symptom     string // the contract's table of faults: what the finding names
		replies     [][2]string
		proof       checklist.Verdict
		cured       bool
		reflash     bool
		test        string // among the answers
	}{
		"a cure that is none": {
			fault: "reader-zero", step: "reader-chip", symptom: "0x00",
			replies: [][2]string{
				{"How many minutes", ""}, {"What is amiss", "header pressed=version turns good"}, {"did it cure?", "yes"}, {"What did the repair change?", "nothing"},
			},
			proof: checklist.Failed, cured: true, test: "version turns good",
		},
		"new firmware": {
			fault: "coil-taken", step: "settings", symptom: "118",
			replies: [][2]string{{"How many minutes", ""}, {"The port is free", "yes"}, {"?? ", "reflash"}},
			proof:   checklist.Passed, reflash: true,
		},
	} {
		t.Run(name, func(t *testing.T) {
			k := newKillBench(t, program, "--fault", tt.fault)
			master, terminal, err := pty.Open()
			if err != nil {
				t.Fatal(err)
			}
			defer master.Close()
			args := slices.DeleteFunc(k.args(), func(a string) bool { return a == "--answers" || a == k.answers })
			cmd := exec.CommandContext(t.Context(), program, append(args, "--mute")...)
			cmd.Env = append(os.Environ(), "NO_COLOR=1")
			cmd.Stdin, cmd.Stderr = terminal, terminal
			cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
			decided, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			if err := terminal.Close(); err != nil {
				t.Fatal(err)
			}
			offered := 0
			typed := &typing{f: master, before: func(line string) string {
				switch {
				case strings.HasPrefix(line, "offer"):
					if offered++; offered > 1 {
						return "abort seen enough"
					}
				case tt.reflash && line == "yes":
					in, out := true, false
					c, err := virtual.DialControl(k.control)
					if err != nil {
						t.Error(err)
						return line
					}
					for _, r := range []virtual.Request{
						{Op: virtual.OpReflash, Firmware: "3.2.0", Settings: map[string]string{"coil": "117"}}, {Op: virtual.OpUSB, In: &out}, {Op: virtual.OpUSB, In: &in},
					} {
						if _, err := c.Do(r); err != nil {
							t.Errorf("%s: %v", r.Op, err)
						}
					}
				}
				return strings.TrimPrefix(line, "offer ")
			}}
			person := &replier{typed: typed, replies: append([][2]string{
				{"Every pin of the reader's header", "yes "}, {"Voltage of the adapter", "5.02"}, {"failed. Find the cause", "offer yes"},
			}, tt.replies...)}
			var reading sync.WaitGroup
			reading.Go(func() {
				buf := make([]byte, 4096)
				for {
					n, err := master.Read(buf)
					if _, wrote := person.Write(buf[:n]); err != nil || wrote != nil {
						return // the terminal closes with the process
					}
				}
			})
			// The step run again is what this is about; the rest of the bench is not.
			lines := bufio.NewScanner(decided)
			for times := 0; lines.Scan(); {
				if strings.Contains(lines.Text(), titleOf(t, tt.step)) {
					if times++; times == 2 && tt.proof == checklist.Passed {
						if _, err := master.WriteString("abort seen enough\n"); err != nil {
							t.Error(err)
						}
					}
				}
			}
			err = cmd.Wait()
			reading.Wait()
			if exitCode(err) != statusVerdict {
				t.Fatalf("%v, want exit status %d\n%s", err, statusVerdict, &person.shown)
			}
			folder := filepath.Dir(k.journal())
			text, err := os.ReadFile(filepath.Join(folder, report.FileReport))
			if err != nil {
				t.Fatalf("%v\n%s", err, &person.shown)
			}
			var m report.Model
			if err := json.Unmarshal(text, &m); err != nil {
				t.Fatal(err)
			}
			if len(m.Stories) != 1 {
				t.Fatalf("%d stories, want one\n%s", len(m.Stories), &person.shown)
			}
			s := m.Stories[0]
			if s.Step != tt.step || s.Cured != tt.cured || s.Reflash != tt.reflash || s.Proof == nil || s.Proof.Verdict != tt.proof || !strings.Contains(strings.Join(s.Symptom, "\n"), tt.symptom) {
				t.Errorf("story %+v, proof %+v; want step %s, proof %s\n%s", s, s.Proof, tt.step, tt.proof, &person.shown)
			}
			if tt.test != "" && !slices.ContainsFunc(s.Tests, func(d checklist.DiagnosisTest) bool { return d.Answer == tt.test }) {
				t.Errorf("tests %+v; want one answered %q", s.Tests, tt.test)
			}
			if tt.cured && (s.Cause == nil || len(s.Repairs) == 0) {
				t.Errorf("cause %+v, repairs %+v; want what was said to have cured", s.Cause, s.Repairs)
			}
			if status, said := verifyStatus(t, folder); status != statusDone {
				t.Errorf("verify: status %d\n%s", status, said)
			}
		})
	}
}

// A typing types lines at a terminal, after what has to be done before.
type typing struct {
	f      *os.File
	before func(line string) string
}

func (p *typing) Write(b []byte) (int, error) {
	_, err := p.f.WriteString(p.before(strings.TrimSuffix(string(b), "\n")) + "\n")
	return len(b), err
}

// titleOf is the title of a step of the procedure for new boards.
func titleOf(t *testing.T, id string) string {
	t.Helper()
	p, err := checklist.BuiltinProcedure(checklist.ProcedureNew)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(p.Steps, func(s checklist.Step) bool { return s.ID == id })
	return p.Steps[i].Title
}
