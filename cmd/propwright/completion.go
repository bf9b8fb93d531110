package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

func newCompletionCmd(d deps) *cobra.Command {
	return &cobra.Command{
		Use:                   "completion bash|zsh|fish|powershell",
		Short:                 "Print a shell's completion script",
		Example:               "  source <(propwright completion bash)",
		DisableFlagsInUseLine: true,
		ValidArgs:             []string{"bash", "zsh", "fish", "powershell"},
		Args:                  checkArgs(cobra.MatchAll(cobra.ExactArgs(1), knownShell)),
		RunE: func(c *cobra.Command, given []string) error {
			switch root := c.Root(); given[0] {
			case "bash":
				return root.GenBashCompletionV2(d.out, true)
			case "zsh":
				return root.GenZshCompletion(d.out)
			case "fish":
				return root.GenFishCompletion(d.out, true)
			default:
				return root.GenPowerShellCompletionWithDesc(d.out)
			}
		},
	}
}

func knownShell(c *cobra.Command, given []string) error {
	for _, shell := range c.ValidArgs {
		if given[0] == shell {
			return nil
		}
	}
	return fmt.Errorf("shell %q: not known, there are: bash, zsh, fish, powershell", given[0])
}
