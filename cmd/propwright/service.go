package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist/plan"
	"propwright/parsers"
)

func newServiceCmd(d deps) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "service",
		Short: "What happened to a prop between its reports",
		Long: `service keeps each prop's log: repaired, a part swapped, by-passed and back, an
incident, moved. What is in it stays in it: an entry is never changed or deleted.
A prop that is by-passed says so when it is commissioned.`,
		Example: `  propwright service add harbour-bell by-passed "reads no tags, game master opens by hand"
  propwright service add harbour-bell back "header soldered again" --report 14
  propwright service list harbour-bell`,
		Args: unknownCommand,
		RunE: groupRun,
	}
	cmd.AddCommand(newServiceAddCmd(d), newServiceListCmd(d))
	return cmd
}

// minuteUTC shows when an entry was written.
const minuteUTC = "2006-01-02 15:04 UTC"

type serviceOptions struct {
	site   string
	by     string
	at     string
	board  string
	report int
	asJSON bool
}

func newServiceAddCmd(d deps) *cobra.Command {
	var o serviceOptions
	var words []string
	for _, k := range plan.ServiceKinds() {
		words = append(words, string(k))
	}
	cmd := &cobra.Command{
		Use:     "add PROP KIND TEXT",
		Short:   "Write an entry down",
		Long:    "add writes an entry down. KIND is one of " + strings.Join(words, ", ") + ".",
		Example: `  propwright service add harbour-bell repaired "header soldered again" --report 14`,
		Args:    checkArgs(cobra.ExactArgs(3)),
		RunE: func(c *cobra.Command, args []string) error {
			return runServiceAdd(c.Context(), d, o, plan.ServiceEntry{Prop: args[0], Kind: plan.ServiceKind(args[1]), Text: args[2]})
		},
	}
	addSiteFlag(cmd, &o.site)
	f := cmd.Flags()
	f.StringVar(&o.by, "by", "", "who writes it down (default: the user's name)")
	f.StringVar(&o.at, "at", "", "when it happened, as 2026-11-25T21:30:00Z (default: now)")
	f.StringVar(&o.board, "board", "", "the board that it is about (default: the one at the prop)")
	f.IntVar(&o.report, "report", 0, "number of the report that belongs to it")
	return cmd
}

func runServiceAdd(ctx context.Context, d deps, o serviceOptions, e plan.ServiceEntry) error {
	e.By, e.Board, e.Report = personName(d, o.by), o.board, o.report
	if e.Kind == plan.ServiceHeld || e.Kind == plan.ServiceReleased {
		return hintedError{usageError{fmt.Errorf("kind %q: is written down by holds", e.Kind)}, "propwright hold --help"}
	}
	var err error
	if e.At, err = momentOf(d, o.at); err != nil {
		return err
	}
	return logService(ctx, d, o.site, e)
}

// momentOf reads a time, now where none is given. What has not happened yet is
// refused.
func momentOf(d deps, text string) (time.Time, error) {
	now := d.now()
	if text == "" {
		return now, nil
	}
	at, err := time.Parse(time.RFC3339, text)
	switch {
	case err != nil:
		return at, usageError{fmt.Errorf("at %q: not a time as in 2026-11-25T21:30:00Z or 2026-11-25T22:30:00+01:00", text)}
	case at.After(now):
		return at, usageError{fmt.Errorf("at %q: is still to come", text)}
	}
	return at, nil
}

// logService adds an entry to the log of a site and says so.
func logService(ctx context.Context, d deps, site string, e plan.ServiceEntry) error {
	st, err := openPlan(ctx, d, site)
	if err != nil {
		return err
	}
	defer st.Close()
	err = st.store.Change(ctx, func(p *plan.Plan) (err error) {
		e, err = p.Log(e)
		if err != nil {
			return usageError{err}
		}
		return nil
	})
	if _, usage := errors.AsType[usageError](err); usage {
		return err
	}
	if err != nil {
		return toolError{what: "service log", err: err}
	}
	_, err = fmt.Fprintf(d.out, "entry %d: prop %s %s\n", e.Number, e.Prop, e.Kind)
	return err
}

func newServiceListCmd(d deps) *cobra.Command {
	var o serviceOptions
	cmd := &cobra.Command{
		Use:     "list [PROP]",
		Short:   "Show the log of a prop, or of all",
		Example: "  propwright service list harbour-bell",
		Args:    checkArgs(cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			return runServiceList(c.Context(), d, o, strings.Join(args, ""))
		},
	}
	addSiteFlag(cmd, &o.site)
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	return cmd
}

func runServiceList(ctx context.Context, d deps, o serviceOptions, prop string) error {
	st, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer st.Close()
	p, err := st.Load(ctx)
	if err != nil {
		return err
	}
	entries := p.Service
	if prop != "" {
		if _, err := p.PropNamed(prop); err != nil {
			return hintedError{usageError{err}, "propwright plan list props"}
		}
		entries = p.ServiceOf(prop)
	}
	if o.asJSON {
		return printJSON(d.out, list(entries))
	}
	table := tabwriter.NewWriter(d.out, 0, 0, 2, ' ', 0)
	for _, e := range entries {
		belongs := ""
		if e.Report > 0 {
			belongs = fmt.Sprintf(" (report %d)", e.Report)
		}
		fmt.Fprintf(table, "%d\t%s\t%s\t%s\t%s\t%s: %s%s\n", e.Number, e.At.Format(minuteUTC), e.Prop, e.Board, e.Kind,
			parsers.Printable(e.By), parsers.Printable(e.Text), belongs)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	for _, q := range p.Props {
		if prop == "" || q.Name == prop {
			for _, line := range standingOf(&p, q.Name) {
				fmt.Fprintln(d.out, line)
			}
		}
	}
	return nil
}

// standingOf says in lines what of a prop's log is still open.
func standingOf(p *plan.Plan, prop string) (lines []string) {
	if e, ok := p.BypassedSince(prop); ok {
		lines = append(lines, fmt.Sprintf("prop %s is by-passed since %s: %s", prop, e.At.Format(minuteUTC), parsers.Printable(e.Text)))
	}
	if e, ok := p.HeldSince(prop); ok {
		lines = append(lines, fmt.Sprintf("prop %s is on hold since %s: %s", prop, e.At.Format(minuteUTC), parsers.Printable(e.Text)))
	}
	return lines
}

// sayStanding says what of the prop's log is still open, to who begins work on it.
func sayStanding(ctx context.Context, d deps, st *sitePlan, prop string) error {
	p, err := st.Load(ctx)
	if err != nil {
		return err
	}
	for _, line := range standingOf(&p, prop) {
		fmt.Fprintln(d.err, line)
	}
	if _, by := p.BypassedSince(prop); by {
		fmt.Fprintf(d.err, "when it is in service again: propwright service add %s back TEXT\n", prop)
	}
	return nil
}
