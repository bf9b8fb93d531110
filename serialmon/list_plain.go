//go:build !linux && !windows && !(darwin && cgo)

package serialmon

// listPorts has names only: the details would need cgo here.
func listPorts() ([]PortInfo, error) { return listNames() }
