package serialmon

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

func listPorts() ([]PortInfo, error)  { return Lister{}.Ports() }
func stableName(name string) string   { return Lister{}.Stable(name) }
func portIdentity(name string) string { return Lister{}.find(name).identity() }
func (l Lister) path(to ...string) string {
	return filepath.Join(append([]string{"/", l.Root}, to...)...)
}

// Lister reads the list of ports from the kernel's own tables. The library's list
// opens every built-in port at 9600 baud, in use or not.
type Lister struct {
	// Root is where the file system begins that holds sys and dev; "" is the
	// computer's own.
	Root string
}

// Ports returns the ports in the order of their names. A device that vanishes
// meanwhile is left out.
func (l Lister) Ports() ([]PortInfo, error) {
	entries, err := os.ReadDir(l.path("sys/class/tty"))
	if err != nil {
		return nil, fmt.Errorf("list of ports: %w", err)
	}
	links := l.links()
	var ports []PortInfo
	for _, e := range entries {
		if p, ok := l.port(e.Name(), links); ok {
			ports = append(ports, p)
		}
	}
	return ports, nil
}

// port describes one entry of the table; ok is false where it is no serial port
// that one could open.
func (l Lister) port(entry string, links map[string]string) (p PortInfo, ok bool) {
	class := l.path("sys/class/tty", entry)
	// Consoles and pseudo-terminals have no device behind them.
	device, err := filepath.EvalSymlinks(filepath.Join(class, "device"))
	if err != nil {
		return PortInfo{}, false
	}
	// Built-in ports are listed to the number the kernel reserves; type 0 is a
	// place without hardware.
	if line(class, "type") == "0" {
		return PortInfo{}, false
	}
	p = PortInfo{Name: l.path("dev", entry)}
	if _, err := os.Stat(p.Name); err != nil {
		return PortInfo{}, false
	}
	p.Stable = links[entry]
	if p.Stable == "" {
		p.Stable = p.Name
	}
	if usb := usbDevice(device, l.path("sys")); usb != "" {
		p.VID = strings.ToUpper(line(usb, "idVendor"))
		p.PID = strings.ToUpper(line(usb, "idProduct"))
		p.Serial = line(usb, "serial")
		p.Product = line(usb, "product")
		p.Place = usbPlace(device, usb)
	}
	driver, err := filepath.EvalSymlinks(filepath.Join(device, "driver"))
	if err != nil {
		driver = ""
	}
	p.describe(filepath.Base(driver))
	p.Allowed = unix.Access(p.Name, unix.R_OK|unix.W_OK) == nil
	p.Group = groupOf(p.Name)
	return p, true
}

// usbDevice walks up from a port's device to the USB device it is a part of.
func usbDevice(device, top string) string {
	for dir := device; len(dir) > len(top); dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "idVendor")); err == nil {
			return dir
		}
	}
	return ""
}

// usbPlace is the interface of a USB device that a port's device belongs to; the
// kernel names it by bus, sockets and interface (Documentation/driver-api/usb/usb.rst
// and sysfs-bus-usb, from memory).
func usbPlace(device, usb string) string {
	below, err := filepath.Rel(usb, device)
	if err != nil {
		return ""
	}
	first, _, _ := strings.Cut(below, string(filepath.Separator))
	return first
}

// line is the one line of a table's file, or "" where there is none.
func line(dir, file string) string {
	b, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// links maps a port's entry to its stable name: by the device's own identity, or
// else by the socket it is plugged into.
func (l Lister) links() map[string]string {
	links := map[string]string{}
	for _, kind := range []string{"by-path", "by-id"} { // the later one wins
		dir := l.path("dev/serial", kind)
		entries, err := os.ReadDir(dir)
		if err != nil {
			continue // no such folder where no port has such a name
		}
		for _, e := range entries {
			link := filepath.Join(dir, e.Name())
			if to, err := os.Readlink(link); err == nil {
				links[filepath.Base(to)] = link
			}
		}
	}
	return links
}

// Stable returns the stable name of a port. A name that is a link already is
// taken to be meant as one.
func (l Lister) Stable(name string) string {
	if _, err := os.Readlink(name); err == nil {
		return name
	}
	if p := l.find(name); p.Stable != "" {
		return p.Stable
	}
	return name
}

// find returns what is known of a port, links followed; nothing for a port that
// the table does not have.
func (l Lister) find(name string) PortInfo {
	real, err := filepath.EvalSymlinks(name)
	if err != nil || filepath.Dir(real) != l.path("dev") {
		return PortInfo{}
	}
	p, _ := l.port(filepath.Base(real), l.links())
	return p
}
