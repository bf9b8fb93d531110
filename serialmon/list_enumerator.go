//go:build windows || (darwin && cgo)

package serialmon

import (
	"cmp"
	"slices"

	"go.bug.st/serial/enumerator"
)

// listPorts asks the system for details, which opens no port here. One device
// that leaves at the wrong moment spoils the whole answer, so it is asked twice;
// then the bare names have to do.
func listPorts() ([]PortInfo, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		details, err = enumerator.GetDetailedPortsList()
	}
	if err != nil {
		return listNames()
	}
	var ports []PortInfo
	for _, d := range details {
		if d.Name == "" || !openable(d.Name) {
			continue
		}
		p := PortInfo{
			Name: d.Name, Stable: d.Name, VID: d.VID, PID: d.PID,
			Serial: d.SerialNumber, Product: d.Product,
			Allowed: true, Group: groupOf(d.Name),
		}
		p.describe("")
		ports = append(ports, p)
	}
	slices.SortFunc(ports, func(a, b PortInfo) int { return cmp.Compare(a.Name, b.Name) })
	return ports, nil
}
