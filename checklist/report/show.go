package report

import (
	"fmt"
	"strings"
	"text/tabwriter"
)

// Show prints a report for a terminal: result, steps with their findings, what is
// open, limitations, and how to check the signature. Tags are shown by
// fingerprint and all text is harmless.
func Show(m Model) (string, error) {
	line, earlier := VerifyLine(m), EarlierLines(m)
	m, err := shown(m)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintln(&b, Summary(m))
	fmt.Fprintf(&b, "%s, %s; procedure %s, %s\n", m.Site, m.Room, m.Procedure.Name, m.Procedure.Digest)
	if before := m.EarlierRuns(); before != "" {
		fmt.Fprintf(&b, "before it: %s\n", before)
	}
	for _, s := range m.Sittings {
		fmt.Fprintf(&b, "%s: %s, %s", s.Sitting, span(s.Begun, s.Ended), s.Verdict)
		if s.Signed != nil {
			fmt.Fprintf(&b, "; signed by %s, %s", s.Signed.Who(), dayAndTime(s.Signed.At))
		}
		for i, a := range s.Answers {
			fmt.Fprintf(&b, "%s%s (%d)", []string{"; answered by ", ", "}[min(i, 1)], a.By, a.Count)
		}
		fmt.Fprintln(&b)
	}
	if err := showSteps(&b, m); err != nil {
		return "", err
	}
	for _, s := range m.Stories {
		fmt.Fprintf(&b, "how the cause was looked for: %s %s, %s\n", s.Sitting, s.Step, s.Title)
		for _, l := range s.Lines() {
			fmt.Fprintf(&b, "  %s: %s\n", l[0], l[1])
		}
	}
	for _, o := range m.Open {
		fmt.Fprintf(&b, "open: %s %s, %s\n", o.Sitting, o.ID, o.Why)
	}
	for _, l := range m.Limitations {
		fmt.Fprintf(&b, "limitation: %s\n", l)
	}
	fmt.Fprintf(&b, "%s\n\ncheck the signature, in the bundle's folder:\n", m.Exits)
	for _, l := range append(earlier, line) {
		fmt.Fprintf(&b, "  %s\n", harmless(l))
	}
	return b.String(), nil
}

func showSteps(b *strings.Builder, m Model) error {
	w := tabwriter.NewWriter(b, 0, 8, 2, ' ', 0)
	fmt.Fprintln(w, "\nsitting\tstep\twhat\tfound\tlimit\tfrom\tverdict")
	for _, s := range m.Steps {
		fmt.Fprintf(w, "%s\t%s\t%s\t\t\t\t%s %s\n", s.Sitting, s.ID, orReason(s), sign(string(s.Verdict)), s.Verdict)
		for _, f := range s.Findings {
			found, limit := figure(f.Value), ""
			if within := interval(f.Value); within != "" {
				found += " (" + within + ")"
			}
			if f.Limit != nil {
				limit = figure(*f.Limit)
			}
			fmt.Fprintf(w, "\t\t%s\t%s\t%s\t%s\t%s %s\n", f.What, found, limit, f.How, sign(string(f.Verdict)), f.Verdict)
		}
	}
	fmt.Fprintln(w)
	return w.Flush()
}

func orReason(s Step) string {
	if s.Reason != "" {
		return s.Title + ": " + s.Reason
	}
	return s.Title
}

// sign is the shape before a verdict word, so that colour is never needed.
func sign(verdict string) string {
	switch verdict {
	case "passed":
		return "+"
	case "skipped":
		return "-"
	case "not confirmed":
		return "?"
	default:
		return "x"
	}
}
