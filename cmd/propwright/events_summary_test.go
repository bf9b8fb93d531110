package main

import (
	"bytes"
	"strings"
	"testing"
)

// The command contract's fault brown-out restarts the board every two seconds and a
// bit; its own record says so.
func TestTheSummaryOfABrownOutNamesTheLoop(t *testing.T) {
	dir := t.TempDir()
	var out bytes.Buffer
	if status := run(t.Context(), []string{"demo", "--fault", "brown-out", "--dir", dir}, strings.NewReader(""), &out, &out); status != statusVerdict {
		t.Fatalf("demo: status %d\n%s", status, &out)
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	folder, ok := strings.CutPrefix(lines[len(lines)-1], "report: ")
	if !ok {
		t.Fatalf("no report:\n%s", &out)
	}
	out.Reset()
	if status := run(t.Context(), []string{"events", folder, "--summary"}, strings.NewReader(""), &out, &out); status != statusDone {
		t.Fatalf("events: status %d\n%s", status, &out)
	}
	for _, want := range []string{"loop      brown-out: starts every 2.", "told as brown-out", "kinds     "} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("never says %q:\n%s", want, &out)
		}
	}
	out.Reset()
	if status := run(t.Context(), []string{"events", folder, "--summary", "--json"}, strings.NewReader(""), &out, &out); status != statusUsage {
		t.Errorf("summary as JSON: status %d, want %d", status, statusUsage)
	}
}
