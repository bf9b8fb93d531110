package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// The statuses and the form of an error are the command contract's.
func TestPrintError(t *testing.T) {
	no := errors.New("no such file")
	tests := map[string]struct {
		err    error
		status int
		want   string
	}{
		"done":               {nil, 0, ""},
		"verdict":            {errVerdict, 1, ""},
		"verdict, wrapped":   {fmt.Errorf("bench: %w", errVerdict), 1, ""},
		"usage":              {usageError{errors.New("no prop given")}, 2, "propwright: no prop given\ntry: propwright --help\n"},
		"usage with a hint":  {hintedError{usageError{errors.New("no prop given")}, "propwright plan list"}, 2, "propwright: no prop given\ntry: propwright plan list\n"},
		"usage, no hint":     {hintedError{usageError{errors.New("coil \"117\": taken")}, ""}, 2, "propwright: coil \"117\": taken\n"},
		"tool":               {toolError{"port \"/dev/ttyUSB0\"", no, "propwright ports"}, 3, "propwright: port \"/dev/ttyUSB0\": no such file\ntry: propwright ports\n"},
		"tool, no hint":      {toolError{what: "store", err: no}, 3, "propwright: store: no such file\n"},
		"tool, only why":     {toolError{err: no}, 3, "propwright: no such file\n"},
		"no type":            {no, 3, "propwright: no such file\n"},
		"interrupted":        {interruptedError{no}, 130, "propwright: interrupted\n"},
		"interrupted, usage": {interruptedError{usageError{no}}, 130, "propwright: interrupted\n"},
		"interrupted, hint":  {interruptedError{hintedError{toolError{err: no}, "--resume"}}, 130, "propwright: interrupted\ntry: --resume\n"},
		"hostile": {toolError{what: "wording", err: errors.New("a\x1b[2J\nb\u202ec \\ \"ü\"")}, 3,
			"propwright: wording: a\\x1b[2J; b\\u202ec \\ \"ü\"\n"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			if status := printError(&out, tt.err); status != tt.status || out.String() != tt.want {
				t.Errorf("status %d, %q\nwant   %d, %q", status, out.String(), tt.status, tt.want)
			}
		})
	}
}

// The list in the help is the table.
func TestHelpListsTheStatuses(t *testing.T) {
	help := strings.Join(strings.Fields(rootLong), " ")
	want := fmt.Sprintf("Exit status: %d done, all passed; %d done, something failed, was skipped or is not confirmed; %d wrong usage; %d the tool's own side failed; %d interrupted.",
		statusDone, statusVerdict, statusUsage, statusTool, statusInterrupted)
	if !strings.HasSuffix(help, want) {
		t.Errorf("the help ends %q\nwant %q", help, want)
	}
}

// Ended from outside is 130, whatever the command made of it.
func TestRunInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	dir := t.TempDir()
	if err := initSite(t.Context(), dir, "T", "test"); err != nil {
		t.Fatal(err)
	}
	var out, errOut bytes.Buffer
	if status := run(ctx, []string{"plan", "list", "--site", dir}, strings.NewReader(""), &out, &errOut); status != 130 || out.Len() > 0 {
		t.Errorf("status %d, stdout %q, stderr %q; want 130 and nothing on stdout", status, out.String(), errOut.String())
	}
}

// Every command of the tree turns a flag or argument that it does not know into
// status 2, has a short help, and a worked example where it does something.
func TestEveryCommandRefusesWhatItDoesNotKnow(t *testing.T) {
	var walk func(path []string)
	walk = func(path []string) {
		c, _, err := newRootCmd(testDeps()).Find(path)
		if err != nil {
			t.Fatal(err)
		}
		if c.Short == "" || !c.HasSubCommands() && c.Example == "" {
			t.Errorf("%s: short %q, example %q; both must be there", c.CommandPath(), c.Short, c.Example)
		}
		for _, extra := range [][]string{{"--no-such-flag"}, {"x", "x", "x", "x", "x", "x", "x"}} {
			var out, errOut bytes.Buffer
			status := run(t.Context(), append(append([]string{}, path...), extra...), strings.NewReader(""), &out, &errOut)
			if status != statusUsage || out.Len() > 0 || !strings.HasPrefix(errOut.String(), "propwright: ") {
				t.Errorf("%s %v: status %d, stdout %q, stderr %q; want 2 and one error", c.CommandPath(), extra, status, out.String(), errOut.String())
			}
		}
		for _, sub := range c.Commands() {
			walk(append(append([]string{}, path...), sub.Name()))
		}
	}
	walk(nil)
}
