package serialmon

import (
	"path/filepath"
	"strings"
)

// A Device is what stays the same of the thing behind a port while the port's name
// may change, as when the board is plugged in again after a flash.
type Device struct {
	name string
	port PortInfo // its zero value for what is no USB port, such as a pseudo-terminal
}

// DeviceAt is the device behind a name, links followed, among the ports that there
// are.
func DeviceAt(name string, ports []PortInfo) Device {
	d := Device{name: name}
	real, err := filepath.EvalSymlinks(name)
	if err != nil {
		real = name
	}
	for _, p := range ports {
		if p.Name == real && p.VID != "" {
			d.port = p
		}
	}
	return d
}

// Find returns the name under which to open the device now: where its adapter has a
// serial number the one port with that, else the one at the same USB place. What is
// no USB port keeps its name, which may be a link. ok is false while a USB device is
// not there, or where more than one could be it.
func (d Device) Find(ports []PortInfo) (name string, ok bool) {
	if d.port.VID == "" || DeviceAt(d.name, ports).is(d.port) {
		return d.name, true
	}
	if name, ok := d.only(ports, d.hasSerial); ok {
		return name, true
	}
	return d.only(ports, d.atPlace)
}

// is reports whether the device is surely that of p.
func (d Device) is(p PortInfo) bool {
	return d.port.VID != "" && d.port.identity() == p.identity() && d.port.Place == p.Place
}

// hasSerial reports whether a port is of an adapter with the device's serial number.
// The product may differ: firmware with its own USB can change that.
func (d Device) hasSerial(p PortInfo) bool {
	return d.port.Serial != "" && p.Serial == d.port.Serial && p.VID == d.port.VID && usbInterface(p.Place) == usbInterface(d.port.Place)
}

// atPlace reports whether a port is where the device was, and nothing says that it
// is another one.
func (d Device) atPlace(p PortInfo) bool {
	return d.port.Place != "" && p.Place == d.port.Place && p.VID == d.port.VID && p.Serial == d.port.Serial
}

// only returns the one port that fits.
func (Device) only(ports []PortInfo, fits func(PortInfo) bool) (name string, ok bool) {
	for _, p := range ports {
		if !fits(p) {
			continue
		}
		if ok {
			return "", false
		}
		name, ok = p.Name, true
	}
	return name, ok
}

// usbInterface is the part of a place that tells the ports of one adapter apart.
func usbInterface(place string) string {
	_, of, _ := strings.Cut(place, ":")
	return of
}
