//go:build !linux

package serialmon

import (
	"fmt"
	"slices"
	"strings"

	"go.bug.st/serial"
)

// listNames lists ports by name alone. Outside Linux the library opens none for it.
func listNames() ([]PortInfo, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list of ports: %w", err)
	}
	slices.Sort(names)
	var ports []PortInfo
	for _, name := range names {
		if openable(name) {
			ports = append(ports, PortInfo{
				Name: name, Stable: name, Adapter: "not known", Board: boardUnknown,
				Allowed: true, Group: groupOf(name),
			})
		}
	}
	return ports, nil
}

// openable leaves out the second name that macOS has for each port: opening that
// one waits for a carrier which never comes.
func openable(name string) bool { return !strings.HasPrefix(name, "/dev/tty.") }

func stableName(name string) string { return name }

func portIdentity(name string) string {
	ports, err := listPorts()
	if err != nil {
		return ""
	}
	for _, p := range ports {
		if p.Name == name {
			return p.identity()
		}
	}
	return ""
}
