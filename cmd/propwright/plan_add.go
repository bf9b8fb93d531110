package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist/plan"
	"propwright/checklist/store"
	"propwright/parsers"
)

func newPlanAddCmd(d deps) *cobra.Command {
	var site string
	cmd := &cobra.Command{
		Use:   "add KIND NAME KEY=VALUE…",
		Short: "Add a controller, board, reader, prop or tag",
		Long:  "add puts one thing into the plan, whole or not at all.\n\n" + keyHelp(),
		Example: `  propwright plan add controller bay-1 address=10.77.0.10 base=1
  propwright plan add board rdr-07 mac=02:54:57:00:00:57 ip=10.77.0.57/24 gateway=10.77.0.1 controller=bay-1
  propwright plan add reader rdr-07 coil=117
  propwright plan add prop harbour-bell room=Lighthouse cover_mm=6 drives=light board=rdr-07`,
		Args: checkArgs(cobra.MinimumNArgs(2)),
		RunE: func(c *cobra.Command, args []string) error { return runPlanAdd(c.Context(), d, site, args) },
	}
	addSiteFlag(cmd, &site)
	return cmd
}

func runPlanAdd(ctx context.Context, d deps, site string, args []string) error {
	kind, name := plan.Kind(args[0]), args[1]
	if len(plan.Keys(kind)) == 0 {
		return unknownKind(args[0])
	}
	s, err := openPlan(ctx, d, site)
	if err != nil {
		return err
	}
	defer s.Close()
	var notes []plan.Note
	err = s.store.Change(ctx, func(p *plan.Plan) error {
		if err := p.Add(kind, name, args[2:]...); err != nil {
			return err
		}
		notes = p.Notes()
		return nil
	})
	if _, ok := errors.AsType[*store.Error](err); ok {
		return toolError{err: err, try: "a folder and a disk that can be written"}
	}
	if _, ok := errors.AsType[*plan.FieldError](err); ok {
		return hintedError{usageError{err}, ""} // the message says all there is to say
	}
	if err != nil {
		return hintedError{usageError{err}, "propwright plan add --help lists the keys"}
	}
	for _, n := range notes {
		if n.Kind == kind && n.Name == name {
			fmt.Fprintf(d.err, "note: %s\n", oneLine(n.String()))
		}
	}
	_, err = fmt.Fprintf(d.out, "added %s %s\n", kind, parsers.Printable(name))
	return err
}

func unknownKind(word string) error {
	var kinds []string
	for _, k := range plan.Kinds() {
		kinds = append(kinds, string(k))
	}
	try := "propwright plan add --help"
	if near := plan.Nearest(word, kinds); near != "" {
		try = "propwright plan add " + near
	}
	return hintedError{usageError{fmt.Errorf("kind %q: not known, there are: %s", word, strings.Join(kinds, ", "))}, try}
}

// keyHelp lists the keys of each kind; what may be left out is in brackets.
func keyHelp() string {
	var b strings.Builder
	for _, kind := range plan.Kinds() {
		name := "NAME"
		if kind == plan.KindReader {
			name = "BOARD[/INDEX]"
		}
		line := fmt.Sprintf("  %s %s", kind, name)
		for _, k := range plan.Keys(kind) {
			word := k.Name + "=" + k.Form
			if !k.Must {
				word = "[" + word + "]"
			}
			if len(line)+len(word) > 78 {
				b.WriteString(line + "\n")
				line = "     "
			}
			line += " " + word
		}
		b.WriteString(line + "\n")
	}
	return strings.TrimSuffix(b.String(), "\n")
}
