package main

import (
	"encoding/json"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"propwright/parsers"
	"propwright/serialmon"
)

func newPortsCmd(d deps) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "ports",
		Short:   "List the serial ports without opening any",
		Example: "  propwright ports\n  propwright ports --json",
		Args:    checkArgs(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			ports, err := serialmon.ListPorts()
			if err != nil {
				return toolError{what: "list ports", err: err}
			}
			if asJSON {
				return printPortsJSON(d, ports)
			}
			return printPorts(d, ports)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print a JSON array")
	return cmd
}

func printPortsJSON(d deps, ports []serialmon.PortInfo) error {
	if ports == nil {
		ports = []serialmon.PortInfo{}
	}
	enc := json.NewEncoder(d.out)
	enc.SetIndent("", "  ")
	return enc.Encode(ports)
}

func printPorts(d deps, ports []serialmon.PortInfo) error {
	if len(ports) == 0 {
		fmt.Fprintln(d.err, "no serial port found: plug the board in, with a cable that has data wires")
		return nil
	}
	w := tabwriter.NewWriter(d.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "PORT\tADAPTER\tSERIAL\tACCESS\tKIND OF BOARD")
	for _, p := range ports {
		access := "yes"
		if !p.Allowed {
			access = "no"
			if p.Group != "" {
				access = "join group " + p.Group
			}
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", p.Name, orDash(p.Adapter), orDash(p.Serial), access, orDash(p.Board))
	}
	return w.Flush()
}

// orDash shows text from outside, and that there is none.
func orDash(text string) string {
	if text == "" {
		return "-"
	}
	return parsers.Printable(text)
}
