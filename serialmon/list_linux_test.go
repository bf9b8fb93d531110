package serialmon_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/serialmon"
)

// tree is a small computer made of files: sys and dev under one folder.
type tree struct {
	t    *testing.T
	root string
}

func (tr tree) file(text string, path ...string) {
	tr.t.Helper()
	name := filepath.Join(append([]string{tr.root}, path...)...)
	must(tr.t, os.MkdirAll(filepath.Dir(name), 0o755))
	must(tr.t, os.WriteFile(name, []byte(text), 0o600))
}

func (tr tree) link(to string, path ...string) {
	tr.t.Helper()
	name := filepath.Join(append([]string{tr.root}, path...)...)
	must(tr.t, os.MkdirAll(filepath.Dir(name), 0o755))
	must(tr.t, os.Symlink(to, name))
}

// usb adds a USB port as the kernel lays it out: the tty class entry leads to the
// interface, the numbers lie one or two folders further up.
func (tr tree) usb(entry, device, vid, pid, serial, driver string) {
	tr.file(vid+"\n", "sys/devices/usb1", device, "idVendor")
	tr.file(pid+"\n", "sys/devices/usb1", device, "idProduct")
	if serial != "" {
		tr.file(serial+"\n", "sys/devices/usb1", device, "serial")
	}
	at := filepath.Join("sys/devices/usb1", device, device+":1.0")
	if driver != "cdc_acm" {
		at = filepath.Join(at, entry) // bridges have one more level
	}
	tr.file("", at, "uevent")
	must(tr.t, os.MkdirAll(filepath.Join(tr.root, "sys/bus/drivers", driver), 0o755))
	tr.link(filepath.Join(tr.root, "sys/bus/drivers", driver), at, "driver")
	tr.link(filepath.Join(tr.root, at), "sys/class/tty", entry, "device")
	tr.file("", "dev", entry)
}

func TestPortsFromKernelTables(t *testing.T) {
	tr := tree{t, t.TempDir()}
	tr.usb("ttyUSB0", "1-1", "1a86", "7523", "", "ch341-uart")
	tr.usb("ttyUSB1", "1-2", "0403", "6015", "DQ01", "ftdi_sio")
	tr.usb("ttyACM0", "1-3", "2e8a", "000a", "E660", "cdc_acm")
	tr.usb("ttyACM1", "1-4", "feed", "0001", "", "cdc_acm")
	tr.link("../../ttyUSB0", "dev/serial/by-path/usb-0:1:1.0-port0")
	tr.link("../../ttyUSB1", "dev/serial/by-path/usb-0:2:1.0-port0")
	tr.link("../../ttyUSB1", "dev/serial/by-id/usb-DQ01-if00-port0")
	// A built-in port with hardware, one without, a console, and a node that is gone.
	tr.file("", "sys/devices/serial8250/ttyS0/uevent")
	for entry, kind := range map[string]string{"ttyS0": "4\n", "ttyS1": "0\n", "ttyS2": "4\n"} {
		tr.file(kind, "sys/class/tty", entry, "type")
		tr.link(filepath.Join(tr.root, "sys/devices/serial8250/ttyS0"), "sys/class/tty", entry, "device")
	}
	tr.file("", "dev/ttyS0")
	tr.file("", "dev/ttyS1")
	tr.file("", "sys/class/tty/tty0/uevent")
	tr.file("", "dev/tty0")

	got, err := serialmon.Lister{Root: tr.root}.Ports()
	must(t, err)
	for i := range got {
		if !got[i].Allowed || got[i].Group == "" || got[i].Board == "" {
			t.Errorf("port %+v; want it allowed, with a group and a kind of board", got[i])
		}
		got[i].Group, got[i].Board = "", ""
	}
	dev := func(name string) string { return filepath.Join(tr.root, "dev", name) }
	want := []serialmon.PortInfo{
		{Name: dev("ttyACM0"), Stable: dev("ttyACM0"), Adapter: "RP2040 native USB CDC", VID: "2E8A", PID: "000A", Serial: "E660", Place: "1-3:1.0", Allowed: true},
		{Name: dev("ttyACM1"), Stable: dev("ttyACM1"), Adapter: "USB CDC", VID: "FEED", PID: "0001", Place: "1-4:1.0", Allowed: true},
		{Name: dev("ttyS0"), Stable: dev("ttyS0"), Adapter: "none", Allowed: true},
		{Name: dev("ttyUSB0"), Stable: dev("serial/by-path/usb-0:1:1.0-port0"), Adapter: "CH340", VID: "1A86", PID: "7523", Place: "1-1:1.0", Allowed: true},
		{Name: dev("ttyUSB1"), Stable: dev("serial/by-id/usb-DQ01-if00-port0"), Adapter: "FT230X family", VID: "0403", PID: "6015", Serial: "DQ01", Place: "1-2:1.0", Allowed: true},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Ports() (-want +got):\n%s", diff)
	}

	l := serialmon.Lister{Root: tr.root}
	for name, want := range map[string]string{
		dev("ttyUSB1"):                          dev("serial/by-id/usb-DQ01-if00-port0"),
		dev("ttyS0"):                            dev("ttyS0"),
		dev("serial/by-path/usb-0:1:1.0-port0"): dev("serial/by-path/usb-0:1:1.0-port0"),
		dev("nothing"):                          dev("nothing"),
	} {
		if got := l.Stable(name); got != want {
			t.Errorf("Stable(%q) = %q, want %q", name, got, want)
		}
	}
}

// R26: a device whose tables cannot be read, as of one that is unplugged right then, spoils
// the list of no other; where only its numbers are missing it is listed by its name.
func TestADeviceThatLeavesSpoilsNoList(t *testing.T) {
	tr := tree{t, t.TempDir()}
	tr.usb("ttyUSB0", "1-1", "1a86", "7523", "", "ch341-uart")
	tr.usb("ttyUSB1", "1-2", "0403", "6015", "DQ01", "ftdi_sio")
	for _, name := range []string{"idVendor", "idProduct", "serial"} {
		must(t, os.Remove(filepath.Join(tr.root, "sys/devices/usb1/1-2", name)))
	}
	tr.link(filepath.Join(tr.root, "sys/devices/usb1/gone"), "sys/class/tty/ttyUSB2", "device")
	tr.file("", "dev/ttyUSB2")
	ports, err := serialmon.Lister{Root: tr.root}.Ports()
	must(t, err)
	got := map[string]string{}
	for _, p := range ports {
		got[filepath.Base(p.Name)] = p.VID
	}
	want := map[string]string{"ttyUSB0": "1A86", "ttyUSB1": ""}
	delete(got, "ttyUSB2") // half gone: by its name or not at all
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("port and vendor number (-want +got):\n%s", diff)
	}
}

func TestPortsWithoutTables(t *testing.T) {
	if ports, err := (serialmon.Lister{Root: t.TempDir()}).Ports(); err == nil || ports != nil {
		t.Errorf("Ports() without a kernel's tables = %v, %v; want an error", ports, err)
	}
}

// R25: listing opens no port. strace watches a second run of this test do it.
func TestListingOpensNoPort(t *testing.T) {
	const asked = "PROPWRIGHT_TEST_LIST_PORTS"
	if os.Getenv(asked) != "" {
		if _, err := serialmon.ListPorts(); err != nil {
			t.Fatal(err)
		}
		return
	}
	strace, err := exec.LookPath("strace")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("package strace is missing")
		}
		t.Skip("package strace is missing")
	}
	cmd := exec.Command(strace, "-f", "-qq", "-e", "trace=open,openat,openat2", os.Args[0], "-test.run=^TestListingOpensNoPort$")
	cmd.Env = append(os.Environ(), asked+"=1")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Skipf("strace cannot watch here: %v: %.200s", err, out)
	}
	if !strings.Contains(string(out), `"/sys/class/tty"`) {
		t.Fatalf("strace did not see the list being read; it saw:\n%.2000s", out)
	}
	for call := range strings.Lines(string(out)) {
		if strings.Contains(call, `"/dev/tty`) {
			t.Errorf("listing opened a port: %s", call)
		}
	}
}
