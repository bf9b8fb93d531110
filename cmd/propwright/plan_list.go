package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist/plan"
)

type planListOptions struct {
	site   string
	which  string // controllers, boards, readers, props, tags or "" for all
	asJSON bool
	full   bool // UIDs in full
}

func newPlanListCmd(d deps) *cobra.Command {
	var o planListOptions
	cmd := &cobra.Command{
		Use:   "list [controllers|boards|readers|props|tags]",
		Short: "List what is in the plan",
		Long: `list shows the plan, or one kind of thing of it. A tag's UID is a key, so tags
are shown by a short fingerprint unless --full is given.`,
		Example: `  propwright plan list
  propwright plan list boards --json`,
		ValidArgs: listKinds(),
		Args:      checkArgs(cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.which = args[0]
			}
			return runPlanList(c.Context(), d, o)
		},
	}
	addSiteFlag(cmd, &o.site)
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	cmd.Flags().BoolVar(&o.full, "full", false, "show UIDs in full")
	return cmd
}

// listKinds are the words for the kinds of thing, in the plural.
func listKinds() []string {
	var words []string
	for _, k := range plan.Kinds() {
		words = append(words, string(k)+"s")
	}
	return words
}

func runPlanList(ctx context.Context, d deps, o planListOptions) error {
	if o.which != "" && !slices.Contains(listKinds(), o.which) {
		try := "propwright plan list"
		if near := plan.Nearest(o.which, listKinds()); near != "" {
			try += " " + near
		}
		return hintedError{usageError{fmt.Errorf("list %q: not known, there are: %s", o.which, strings.Join(listKinds(), ", "))}, try}
	}
	s, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer s.Close()
	p, err := s.Load(ctx)
	if err != nil {
		return err
	}
	key, err := s.FingerprintKey()
	if err != nil {
		return toolError{err: err, try: "the site's folder as a whole, from a copy that has its keys"}
	}
	shown := shownTags(p.Tags, key, o.full)
	if o.asJSON {
		return printPlanJSON(d, o.which, p, shown)
	}
	return printPlanTables(d.out, o.which, p, shown)
}

// planJSON is the plan as JSON; keys are only ever added.
type planJSON struct {
	Site        plan.Site         `json:"site"`
	Controllers []plan.Controller `json:"controllers"`
	Boards      []plan.Board      `json:"boards"`
	Readers     []plan.Reader     `json:"readers"`
	Props       []plan.Prop       `json:"props"`
	Tags        []shownTag        `json:"tags"`
	Notes       []plan.Note       `json:"notes"`
}

func printPlanJSON(d deps, which string, p plan.Plan, tags []shownTag) error {
	all := planJSON{
		Site: p.Site, Controllers: list(p.Controllers), Boards: list(p.Boards),
		Readers: list(p.Readers), Props: list(p.Props), Tags: list(tags), Notes: list(p.Notes()),
	}
	switch which {
	case "controllers":
		return printJSON(d.out, all.Controllers)
	case "boards":
		return printJSON(d.out, all.Boards)
	case "readers":
		return printJSON(d.out, all.Readers)
	case "props":
		return printJSON(d.out, all.Props)
	case "tags":
		return printJSON(d.out, all.Tags)
	}
	return printJSON(d.out, all)
}

// printJSON prints what a command found, indented.
func printJSON(w io.Writer, v any) error {
	out := json.NewEncoder(w)
	out.SetIndent("", "  ")
	out.SetEscapeHTML(false)
	return out.Encode(v)
}

// list is the slice, and an empty one for none, so that JSON says [] and not null.
func list[T any](things []T) []T {
	if things == nil {
		return []T{}
	}
	return things
}
