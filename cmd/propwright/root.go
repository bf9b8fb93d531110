package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist/plan"
)

const rootLong = `propwright helps to commission a freshly soldered tag reader: it reads the
board's serial console, walks you through the checks at the bench and on site,
and writes a signed report.

Exit status: 0 done, all passed; 1 done, something failed, was skipped or is not
confirmed; 2 wrong usage; 3 the tool's own side failed; 130 interrupted.`

// newRootCmd builds the whole command tree.
func newRootCmd(d deps) *cobra.Command {
	root := &cobra.Command{
		Use:           "propwright",
		Short:         "Commission home-built tag readers",
		Long:          rootLong,
		Args:          unknownCommand,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetHelpCommand(newHelpCmd())
	root.SetIn(d.in)
	root.SetOut(d.out)
	root.SetErr(d.err)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return hintedError{usageError{fmt.Errorf("%s: %w", c.Name(), err)}, c.CommandPath() + " --help"}
	})
	root.AddCommand(
		newDemoCmd(d),
		newPortsCmd(d),
		newEventsCmd(d),
		newBoardCmd(d),
		newBenchCmd(d), newLinkCmd(d),
		newCommissionCmd(d), newBatchCmd(d),
		newPlanCmd(d),
		newReportsCmd(d),
		newRangeCmd(d),
		newServiceCmd(d), newHoldCmd(d),
		newDiagnoseCmd(d), newWordingCmd(d),
		newVersionCmd(d),
		newCompletionCmd(d),
	)
	return root
}

// unknownCommand refuses what no subcommand took.
func unknownCommand(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	try := c.CommandPath() + " --help"
	if near := nearestCommand(c, args[0]); near != "" {
		try = c.CommandPath() + " " + near
	}
	return hintedError{usageError{fmt.Errorf("command %q: not known", args[0])}, try}
}

// nearestCommand is the subcommand that a word is likely to have meant: one that
// it begins, or a slip of the pen away; "" when there is none.
func nearestCommand(c *cobra.Command, word string) string {
	var names []string
	for _, sub := range c.Commands() {
		if word != "" && strings.HasPrefix(sub.Name(), word) {
			return sub.Name()
		}
		names = append(names, sub.Name())
	}
	return plan.Nearest(word, names)
}

// newHelpCmd is the help command, which takes no word that names no command.
func newHelpCmd() *cobra.Command {
	return &cobra.Command{
		Use:     "help [COMMAND…]",
		Short:   "Print the help of a command",
		Example: "  propwright help plan add",
		RunE: func(c *cobra.Command, args []string) error {
			of, rest, err := c.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return unknownCommand(of, rest)
			}
			return of.Help()
		},
	}
}

// groupRun is the run function of a command that only has subcommands.
func groupRun(c *cobra.Command, _ []string) error {
	return hintedError{usageError{fmt.Errorf("%s: which part is missing", c.Name())}, c.CommandPath() + " --help"}
}

// checkArgs wraps cobra's rule for positional arguments, so that a broken one is wrong
// usage by its type.
func checkArgs(rule cobra.PositionalArgs) cobra.PositionalArgs {
	return func(c *cobra.Command, given []string) error {
		if err := rule(c, given); err != nil {
			return hintedError{usageError{fmt.Errorf("%s: %w", c.Name(), err)}, c.CommandPath() + " --help"}
		}
		return nil
	}
}
