//go:build linux

package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/serialmon/virtual"
)

// A leaver ends the sitting's context at the first instruction of a step.
type leaver struct {
	checklist.Person
	run   *conduct
	at    string
	leave context.CancelFunc
}

func (l *leaver) Instruct(ctx context.Context, in checklist.Instruction) error {
	entries := l.run.log.Entries(0)
	if entries[len(entries)-1].Step == l.at {
		l.leave()
		return context.Cause(ctx)
	}
	return l.Person.Instruct(ctx, in)
}

// sshKey makes a person's own key with the stock tool.
func sshKey(t *testing.T, name string) (file string) {
	t.Helper()
	file = filepath.Join(t.TempDir(), name)
	if text, err := exec.Command("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", name, "-f", file).CombinedOutput(); err != nil {
		t.Fatalf("ssh-keygen: %v\n%s", err, text)
	}
	return file
}

// stockChecks runs the lines that reports show prints, and returns how many there
// are.
func stockChecks(t *testing.T, folder string) int {
	t.Helper()
	var out bytes.Buffer
	if status := run(t.Context(), []string{"reports", "show", folder}, strings.NewReader(""), &out, &out); status != statusDone {
		t.Fatalf("reports show: status %d\n%s", status, &out)
	}
	n := 0
	for line := range strings.Lines(out.String()) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "ssh-keygen ") {
			continue
		}
		n++
		shell := exec.Command("sh", "-c", line)
		shell.Dir = folder
		if text, err := shell.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", line, err, text)
		}
	}
	return n
}

// Two people with keys of their own, three days apart; the one in the room leaves
// once on the way. The second program that checks the signatures is ssh-keygen.
func TestTwoSittingsByTwoPeopleWithTheirOwnKeys(t *testing.T) {
	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		missingPackage(t, "openssh-client")
	}
	b := newSimBench(t)
	in := true
	out := !in
	if verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Bench, signer: "Ada Bench", key: sshKey(t, "ada")}); err != nil || verdict != checklist.Passed {
		t.Fatalf("bench: %s, %v\n%s", verdict, err, b.verdicts())
	}
	if n := stockChecks(t, b.dir); n != 1 {
		t.Errorf("after the bench: %d lines to check by, want 1", n)
	}
	bench := b.report()
	if bench.Complete || len(bench.Open) == 0 {
		t.Error("the bench's report does not say what is still open")
	}

	b.do(virtual.Request{Op: virtual.OpUSB, In: &out})
	if err := b.clock.Sleep(t.Context(), 72*time.Hour); err != nil {
		t.Fatal(err)
	}
	b.do(virtual.Request{Op: virtual.OpUSB, In: &in})
	ben := sshKey(t, "ben")
	ctx, leave := context.WithCancel(t.Context())
	defer leave()
	_, err := b.sit(ctx, sittingPlan{sitting: checklist.Site, signer: "Ben Room", key: ben, person: func(run *conduct, next checklist.Person) checklist.Person {
		return &leaver{Person: next, run: run, at: "repeat", leave: leave}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("site, left on the way: %v", err)
	}
	if status, said := verifyStatus(t, b.dir); status != statusDone || !strings.Contains(said, "further bytes unsigned: sitting open") {
		t.Errorf("verify while the second sitting is open: status %d\n%s", status, said)
	}
	if n := stockChecks(t, b.dir); n != 1 {
		t.Errorf("while the second sitting is open: %d lines to check by, want 1", n)
	}

	if verdict, err := b.sit(t.Context(), sittingPlan{sitting: checklist.Site, signer: "Ben Room", key: ben}); err != nil || verdict != checklist.Passed {
		t.Fatalf("site: %s, %v\n%s", verdict, err, b.verdicts())
	}
	if status, said := verifyStatus(t, b.dir); status != statusDone || strings.Contains(said, "unsigned") || !strings.Contains(said, "which the site trusts") {
		t.Errorf("verify: status %d\n%s", status, said)
	}
	if n := stockChecks(t, b.dir); n != 2 {
		t.Errorf("after both: %d lines to check by, want 2", n)
	}
	m := b.report()
	if !m.Complete || len(m.Open) > 0 || len(m.Sittings) != 2 {
		t.Fatalf("complete %t, %d open, %d sittings; want both sittings and nothing open", m.Complete, len(m.Open), len(m.Sittings))
	}
	first, second := m.Sittings[0].Signed, m.Sittings[1].Signed
	if first == nil || second == nil || first.Name != "Ada Bench" || second.Name != "Ben Room" || first.Key == second.Key || second.At.Sub(first.At) < 72*time.Hour {
		t.Errorf("signed by %+v and %+v; want Ada, and Ben with another key three days later", first, second)
	}
	page, err := os.ReadFile(filepath.Join(b.dir, report.FileHTML))
	if err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"Ada Bench", "Ben Room", "bench.report.json.sig"} {
		if !bytes.Contains(page, []byte(words)) {
			t.Errorf("the page lacks %q", words)
		}
	}
	signers, err := os.ReadFile(filepath.Join(b.dir, report.FileSigners))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(slices.Collect(bytes.Lines(signers))); n != 2 {
		t.Errorf("allowed_signers has %d lines, want one for each", n)
	}
}
