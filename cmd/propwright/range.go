package main

import "github.com/spf13/cobra"

func newRangeCmd(d deps) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "range",
		Short:   "How far a reader reads",
		Example: "  propwright range fit trials.csv",
		Args:    unknownCommand,
		RunE:    groupRun,
	}
	cmd.AddCommand(newRangeFitCmd(d))
	return cmd
}
