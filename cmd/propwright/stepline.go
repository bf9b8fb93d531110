package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/fatih/color"

	"propwright/checklist"
	"propwright/checklist/reach"
	"propwright/parsers"
)

// shape stands before a verdict, so that colour is never needed to tell it.
func shape(v checklist.Verdict) string {
	switch v {
	case checklist.Passed:
		return "●"
	case checklist.Failed:
		return "▲"
	case checklist.Skipped:
		return "○"
	default:
		return "◇"
	}
}

// paint is a verdict's colour, repeating what shape and word say.
func paint(v checklist.Verdict) *color.Color {
	switch v {
	case checklist.Passed:
		return color.New(color.FgGreen)
	case checklist.Failed:
		return color.New(color.FgRed, color.Bold)
	case checklist.Skipped:
		return color.New(color.Faint)
	default:
		return color.New(color.FgYellow)
	}
}

// printDecision writes the line of a decided step: shape, part number, title, the
// telling figure with its limit, and the verdict word last. Notes of what is not a
// plain pass go to notes.
func printDecision(out, notes io.Writer, coloured bool, d checklist.Decision) {
	verdict := paint(d.Outcome.Verdict)
	if coloured {
		verdict.EnableColor()
	} else {
		verdict.DisableColor()
	}
	figure := parsers.Printable(figureOf(d.Outcome))
	if d.Again {
		figure += "; decided before"
	}
	fmt.Fprintf(out, "%s %s %2d/%d  %-30s %s  %s\n", verdict.Sprint(shape(d.Outcome.Verdict)), d.Step.Sitting, d.Number, d.Of,
		d.Step.Title, figure, verdict.Sprint(d.Outcome.Verdict))
	for _, f := range d.Outcome.Findings {
		if f.Note != "" && (f.Verdict != checklist.Passed || strings.HasPrefix(f.Note, "Note: ")) {
			fmt.Fprintf(notes, "      %s: %s\n", f.What, parsers.Printable(strings.TrimPrefix(f.Note, "Note: ")))
		}
		if f.Curve != nil && !d.Again {
			fmt.Fprintf(notes, "\n%s\n", reach.Plot(f.Curve))
		}
	}
}

// figureOf picks what to show of a step: its worst finding, else one with a
// figure that is held against a limit, else the first.
func figureOf(o checklist.Outcome) string {
	if len(o.Findings) == 0 {
		return o.Reason
	}
	best, score := o.Findings[0], -1
	for _, f := range o.Findings {
		n := 0
		if f.Verdict == o.Verdict && o.Verdict != checklist.Passed {
			n += 4
		}
		if f.Value.Number != nil && f.Limit != nil {
			n += 2
		}
		if f.Curve != nil {
			n++ // the one that is worth a picture
		}
		if n > score {
			best, score = f, n
		}
	}
	text := best.What + ": " + best.Value.Text
	if best.Limit != nil {
		text += " (limit: " + best.Limit.Text + ")"
	}
	return text
}
