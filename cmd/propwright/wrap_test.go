package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/fatih/color"
)

// Nothing is cut within a word at 80 columns, nothing lost, and what follows hangs below
// the text of its line.
func TestLinesBreakBetweenWords(t *testing.T) {
	words := strings.TrimSpace(strings.Repeat("measure the voltage before the plug ", 9))
	for _, tt := range []struct{ name, before string }{
		{"question", "?? "},
		{"indented", "        "},
		{"numbered", "   12  "},
		{"mark outside ASCII", "·· "},
		{"bare", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := wrapLine(tt.before+words, farWidth)
			lines := strings.Split(got, "\n")
			if len(lines) < 4 || strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(tt.before+words), " ") {
				t.Fatalf("wrapped to %q; want the same words in several lines", got)
			}
			hang := strings.Repeat(" ", utf8.RuneCountInString(tt.before))
			for i, line := range lines {
				if n := utf8.RuneCountInString(line); n > farWidth || n == 0 {
					t.Errorf("a line of %d columns: %q", n, line)
				}
				if i > 0 && (!strings.HasPrefix(line, hang) || line[len(hang)] == ' ') {
					t.Errorf("%q does not hang at column %d", line, len(hang))
				}
			}
		})
	}
	if long := strings.Repeat("x", 200); wrapLine(long, farWidth) != long {
		t.Error("a word longer than a line was changed")
	}
}

func FuzzWrapLine(f *testing.F) {
	f.Add("?? one two three four", 8)
	f.Add("      ", 3)
	f.Add("1", 0)
	f.Fuzz(func(t *testing.T, line string, width int) {
		got := wrapLine(line, width)
		if keep := strings.NewReplacer(" ", "", "\n", ""); keep.Replace(got) != keep.Replace(line) {
			t.Errorf("%q became %q", line, got)
		}
	})
}

// Into a file a text stays one line.
func TestTextsAreWrappedOnTerminalsOnly(t *testing.T) {
	text := strings.Repeat("measure the voltage before the plug ", 9)
	for _, terminal := range []bool{false, true} {
		var out bytes.Buffer
		p := newTerminalPerson(&out, false, silence{}, "Ada")
		p.narrow = terminal
		p.say(color.FgRed, "!!", text)
		if got := strings.Count(out.String(), "\n") > 1; got != terminal {
			t.Errorf("terminal %t: %q", terminal, out.String())
		}
	}
}
