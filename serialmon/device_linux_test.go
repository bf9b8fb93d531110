package serialmon_test

import (
	"path/filepath"
	"testing"

	"propwright/serialmon"
)

// A device is found again by its serial number wherever it is, else where it was;
// what could be another one is not taken.
func TestADeviceIsFoundAgain(t *testing.T) {
	type usb struct{ entry, place, vid, pid, serial string }
	for name, tt := range map[string]struct {
		was, now []usb // the device is was[0]
		want     string
	}{
		"under its name": {
			was: []usb{{"ttyUSB0", "1-1", "0403", "6015", "DQ01"}}, now: []usb{{"ttyUSB0", "1-1", "0403", "6015", "DQ01"}}, want: "ttyUSB0",
		},
		"its serial number under another name": {
			was: []usb{{"ttyUSB0", "1-1", "0403", "6015", "DQ01"}}, now: []usb{{"ttyUSB0", "1-3", "1a86", "7523", ""}, {"ttyUSB1", "1-1", "0403", "6015", "DQ01"}}, want: "ttyUSB1",
		},
		"its serial number at another socket": {
			was: []usb{{"ttyUSB0", "1-1", "0403", "6015", "DQ01"}}, now: []usb{{"ttyUSB2", "1-4", "0403", "6015", "DQ01"}}, want: "ttyUSB2",
		},
		"its serial number, another product": {
			was: []usb{{"ttyACM0", "1-1", "2e8a", "000a", "E660"}}, now: []usb{{"ttyACM1", "1-1", "2e8a", "000b", "E660"}}, want: "ttyACM1",
		},
		"no serial number, same socket": {
			was: []usb{{"ttyUSB0", "1-1", "1a86", "7523", ""}}, now: []usb{{"ttyUSB0", "1-2", "1a86", "7523", ""}, {"ttyUSB1", "1-1", "1a86", "7523", ""}}, want: "ttyUSB1",
		},
		"no serial number, another socket": {
			was: []usb{{"ttyUSB0", "1-1", "1a86", "7523", ""}}, now: []usb{{"ttyUSB0", "1-2", "1a86", "7523", ""}},
		},
		"another serial number in its place": {
			was: []usb{{"ttyUSB0", "1-1", "0403", "6015", "DQ01"}}, now: []usb{{"ttyUSB0", "1-1", "0403", "6015", "DQ02"}},
		},
		"two of one serial number": {
			was: []usb{{"ttyUSB0", "1-1", "1a86", "7523", "1"}}, now: []usb{{"ttyUSB0", "1-2", "1a86", "7523", "1"}, {"ttyUSB1", "1-3", "1a86", "7523", "1"}},
		},
		"not there yet": {was: []usb{{"ttyUSB0", "1-1", "0403", "6015", "DQ01"}}},
	} {
		t.Run(name, func(t *testing.T) {
			look := func(root string, devices []usb) []serialmon.PortInfo {
				tr := tree{t, root}
				tr.file("", "sys/class/tty/tty0/uevent")
				for _, u := range devices {
					tr.usb(u.entry, u.place, u.vid, u.pid, u.serial, "ftdi_sio")
				}
				ports, err := serialmon.Lister{Root: root}.Ports()
				must(t, err)
				// Both trees stand for one computer.
				for i := range ports {
					ports[i].Name = filepath.Join("/dev", filepath.Base(ports[i].Name))
				}
				return ports
			}
			device := serialmon.DeviceAt("/dev/"+tt.was[0].entry, look(t.TempDir(), tt.was))
			got, ok := device.Find(look(t.TempDir(), tt.now))
			want := ""
			if tt.want != "" {
				want = "/dev/" + tt.want
			}
			if got != want || ok != (want != "") {
				t.Errorf("Find = %q, %t; want %q", got, ok, want)
			}
		})
	}
}

// A pseudo-terminal's link leads to it whatever its number is by now.
func TestALinkToNoUSBPortIsFoundByItsName(t *testing.T) {
	link := filepath.Join(t.TempDir(), "reader-port")
	if name, ok := serialmon.DeviceAt(link, nil).Find(nil); name != link || !ok {
		t.Errorf("Find = %q, %t; want the link", name, ok)
	}
}
