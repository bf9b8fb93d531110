package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"propwright/checklist/plan"
)

func newHoldCmd(d deps) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "hold",
		Short: "Keep everything of a prop, and hand it out",
		Long: `hold is for a prop that something happened at. While it is on hold nothing of it is
deleted: not the prop, its board and its tags from the plan, and no report. export
copies all that there is for given days into a folder whose every file sha256sum -c
SHA256SUMS checks.`,
		Example: `  propwright hold set harbour-bell "a guest was hurt, insurer informed"
  propwright hold export harbour-bell --from 2026-11-01 --to 2026-11-25 --dir handed-out
  propwright hold release harbour-bell "closed by the insurer"`,
		Args: unknownCommand,
		RunE: groupRun,
	}
	cmd.AddCommand(
		newHoldEntryCmd(d, "set", "Put a prop on hold", "a guest was hurt, insurer informed", plan.ServiceHeld),
		newHoldEntryCmd(d, "release", "End a hold", "closed by the insurer", plan.ServiceReleased),
		newHoldExportCmd(d),
	)
	return cmd
}

func newHoldEntryCmd(d deps, verb, short, reason string, kind plan.ServiceKind) *cobra.Command {
	var o serviceOptions
	cmd := &cobra.Command{
		Use:     verb + " PROP REASON",
		Short:   short,
		Example: fmt.Sprintf("  propwright hold %s harbour-bell %q", verb, reason),
		Args:    checkArgs(cobra.ExactArgs(2)),
		RunE: func(c *cobra.Command, args []string) error {
			return logService(c.Context(), d, o.site, plan.ServiceEntry{Prop: args[0], Kind: kind, Text: args[1], By: personName(d, o.by), At: d.now()})
		},
	}
	addSiteFlag(cmd, &o.site)
	cmd.Flags().StringVar(&o.by, "by", "", "who says so (default: the user's name)")
	return cmd
}
