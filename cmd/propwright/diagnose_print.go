package main

import (
	"fmt"
	"io"
	"strings"

	"propwright/checklist/diagnose"
	"propwright/parsers"
)

// causesPrinted is how many causes people are shown.
const causesPrinted = 5

// printDiagnosis prints a result for people. What came from a board or a person is made
// harmless here. On a terminal lines break between words.
func printDiagnosis(w io.Writer, r *diagnose.Result, terminal bool) error {
	var b strings.Builder
	row := func(format string, args ...any) { fmt.Fprintln(&b, parsers.Printable(fmt.Sprintf(format, args...))) }
	switch r.Verdict {
	case diagnose.VerdictNone:
		row("no fault seen: all that was seen is as it should be")
	case diagnose.VerdictFault:
		row("most likely: %s (%.0f %%)", r.Causes[0].Title, 100*r.Causes[0].Probability)
	default:
		row("open: too little is known to name a cause")
	}
	if r.First != "" {
		row("!! %s", r.First)
	}
	for _, h := range r.Heard {
		if len(h.As) > 0 {
			row("heard: %s: taken as %s", h.Told, join(h.As))
		}
	}
	for _, n := range r.Notes {
		row("note: %s", n)
	}
	for i, c := range r.Causes {
		if i == causesPrinted || i > 0 && c.Probability < 0.005 {
			break
		}
		row("")
		row("%d  %3.0f %%  %s  [%s]", i+1, 100*c.Probability, c.Title, c.ID)
		for _, e := range c.Evidence {
			row("        %s", e)
		}
		if i < 3 {
			row("        do: %s", c.Remedy)
			if c.Caution != "" {
				row("        !! %s", c.Caution)
			}
		}
	}
	if n := r.Next; n != nil {
		row("")
		row("next test: %s  [%s]", n.Ask, n.Test)
		row("     why: %s", n.Why)
		row("     about %.3g min, saves about %.3g min on the way to the repair", n.Cost, n.Gain)
		if n.Masks != "" {
			row("     !! %s", n.Masks)
		}
		if n.Caution != "" {
			row("     !! %s", n.Caution)
		}
		for i, v := range n.Results {
			row("     --answer %s=%s   %s", n.Test, v, n.Tell[i])
		}
	}
	text := b.String()
	if terminal {
		text = wrapLines(text, farWidth)
	}
	_, err := io.WriteString(w, text)
	return err
}

// join lists words.
func join(list []string) string { return strings.Join(list, ", ") }
