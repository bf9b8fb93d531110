//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What the board says is held against the plan: the contract's faults of settings are
// named from a recorded console, with what is said and what is planned.
func TestDiagnoseHoldsTheConsoleAgainstThePlan(t *testing.T) {
	site, err := makeDemoSite(t.Context(), testDeps(), filepath.Join(t.TempDir(), "site"), "test key", demoOptions{})
	if err != nil {
		t.Fatal(err)
	}
	site.Close()
	for fault, want := range map[string]struct{ cause, note string }{
		"wrong-controller": {"address-settings-wrong", "planned 10.77.0.10:502."},
		"coil-taken":       {"", "planned 117."},
		"settings-silent":  {"", "The board does not print its coil, leaving,"},
		"":                 {"nothing-wrong", ""},
	} {
		t.Run(fault, func(t *testing.T) {
			log := filepath.Join(t.TempDir(), "console.log")
			if err := os.WriteFile(log, consoleOf(t, fault, 5), 0o600); err != nil {
				t.Fatal(err)
			}
			var out bytes.Buffer
			if status := run(t.Context(), []string{"diagnose", demoProp, "--from", log, "--site", site.Dir, "--json"}, strings.NewReader(""), &out, io.Discard); status != statusDone {
				t.Fatalf("status %d", status)
			}
			var v struct {
				Causes []struct{ ID string } `json:"causes"`
				Notes  []string              `json:"notes"`
			}
			if err := json.Unmarshal(out.Bytes(), &v); err != nil {
				t.Fatal(err)
			}
			notes := strings.Join(v.Notes, "\n")
			if want.cause != "" && v.Causes[0].ID != want.cause {
				t.Errorf("first %s, want %s", v.Causes[0].ID, want.cause)
			}
			if !strings.Contains(notes, want.note) || want.note == "" && strings.Contains(notes, "planned") {
				t.Errorf("notes %q, want %q among them", notes, want.note)
			}
		})
	}
	var out bytes.Buffer
	log := filepath.Join(t.TempDir(), "console.log")
	if err := os.WriteFile(log, consoleOf(t, "", 5), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t.Context(), []string{"diagnose", "no-such-bell", "--from", log, "--site", site.Dir}, strings.NewReader(""), &out, io.Discard)
	if !strings.Contains(out.String(), "Nothing is held against the plan") {
		t.Errorf("of a prop that the plan has not: %s", out.String())
	}
}

// What came with the command is read back and not asked again, nor is what it makes idle.
func TestDiagnoseTalkAsksNothingTwice(t *testing.T) {
	said, _, err := talkWith(t, diagnoseOptions{answers: []string{"symptom=refused", "reset-button=no-change"}, port: filepath.Join(t.TempDir(), "port")}, "", "1", "q")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"symptom=refused: taken as symptom=refused", "own supply off"} {
		if !strings.Contains(said, want) {
			t.Errorf("it never said %q; it said:\n%s", want, said)
		}
	}
	for _, idle := range []string{"What is amiss", "Press the board's reset button", "turn deaf later"} {
		if strings.Contains(said, idle) {
			t.Errorf("it asked %q; it said:\n%s", idle, said)
		}
	}
}

// A question has USB unplugged; until the port is back the talk waits, and nothing that
// was answered is lost.
func TestDiagnoseTalkWaitsForThePort(t *testing.T) {
	said, out, err := talkWith(t, diagnoseOptions{answers: []string{"symptom=no-tags"}, port: filepath.Join(t.TempDir(), "port")}, "", "it comes up", "1", "1", "", "", "q")
	if err != nil {
		t.Fatalf("%v; it said:\n%s", err, said)
	}
	if n := strings.Count(said, "Plug USB in again. (Enter"); n != 3 {
		t.Errorf("asked %d times for the port, want 3; it said:\n%s", n, said)
	}
	if !strings.Contains(out, "heard: cold-start=comes-up: taken as cold-start=comes-up") {
		t.Errorf("what was answered is not in the result: %s", out)
	}
}

// A report in which this board passed here speaks against what is built in wrong from the
// beginning, and what its chip said then is held beside what it says now.
func TestDiagnoseRestsOnTheLastGoodReport(t *testing.T) {
	dir := t.TempDir()
	if status := run(t.Context(), []string{"demo", "--dir", dir}, strings.NewReader(""), io.Discard, io.Discard); status != statusDone {
		t.Fatalf("demo: status %d", status)
	}
	log := filepath.Join(dir, "console.log")
	if err := os.WriteFile(log, consoleOf(t, "reader-zero", 5), 0o600); err != nil {
		t.Fatal(err)
	}
	swapped := func(more ...string) (p float64, notes, seen string) {
		var out bytes.Buffer
		if status := run(t.Context(), append([]string{"diagnose", "--from", log, "--json"}, more...), strings.NewReader(""), &out, io.Discard); status != statusDone {
			t.Fatalf("status %d", status)
		}
		var v struct {
			Causes []struct {
				ID          string
				Probability float64
				Evidence    []string
			} `json:"causes"`
			Notes []string `json:"notes"`
		}
		if err := json.Unmarshal(out.Bytes(), &v); err != nil {
			t.Fatal(err)
		}
		for _, c := range v.Causes {
			if c.ID == "spi-wires-swapped" {
				p, seen = c.Probability, strings.Join(c.Evidence, "\n")
			}
		}
		return p, strings.Join(v.Notes, "\n"), seen
	}
	without, _, _ := swapped()
	with, notes, seen := swapped(demoProp, "--site", filepath.Join(dir, "site"))
	if with <= 0 || with >= without {
		t.Errorf("wires on the wrong pins: %.3f with the report, %.3f without; want less", with, without)
	}
	if !strings.Contains(notes, "The reader chip said version 0x92 in report 1 of ") || !strings.Contains(notes, "says 0x00 now") {
		t.Errorf("notes %q", notes)
	}
	if !strings.Contains(seen, "whether this board has passed here before: it has (report)") {
		t.Errorf("evidence %q", seen)
	}
}
