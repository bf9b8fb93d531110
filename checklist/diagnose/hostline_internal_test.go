package diagnose

import (
	"slices"
	"strings"
	"testing"

	"propwright/parsers"
)

// Forms of operating systems and their tools, as their own documents and everyday output
// have them (from memory), against what boards print of the same things.
func TestLinesOfTheComputer(t *testing.T) {
	for _, text := range []string{
		"$ ls /dev", "C:\\> mode", "ada@bench:~$ dmesg", "pc (192.0.2.1)$ ping 192.0.2.9", ">>> s.read()",
		"[ 1234.567890] usb 1-1: new full-speed USB device number 5", "Mar  2 09:00:00 bench kernel: ttyACM0 gone",
		"usb 1-1.4: device descriptor read/64, error -71", "could not open port 'COM4': PermissionError(13)",
		"[Errno 16] could not open port /dev/ttyUSB0: Device or resource busy", "crw-rw---- 1 root dialout 188, 0 /dev/ttyS9",
		"64 bytes from 192.0.2.9: icmp_seq=1 ttl=64", "Reply from 192.0.2.9: bytes=32", "Request timed out.", "arp 192.0.2.9 -> 02:00:00:00:00:01",
		"4 packets transmitted, 0 received, 100% packet loss", "unit 1 fc 03 addr 0: timeout", "groups: user sudo", "open: ok", "read 10 s: 0 bytes",
		"prop B: mac 02:00:00:00:00:02", "Device Manager: unknown device", "day 3: works",
	} {
		if !hostLine(text) {
			t.Errorf("%q is taken for the board's", text)
		}
	}
	for _, text := range []string{
		"boot: start", "reader: version 0x92", "tag 5C0A91E3", "controller: connected", "net: ip 192.0.2.9", "opened by master card",
		"reading", "[12.3] tag gone", "unit: sand table", "master : 0x50f0ee27", "links: up", "directory: 4 tags", "port 502 ready", "exception 02 at coil 4",
	} {
		if hostLine(text) {
			t.Errorf("%q is taken for the computer's", text)
		}
	}
}

// What boards say in words of their own, by the meaning of the words; and lines of the
// same words that mean no such thing.
func TestBoardLinesByTheirWords(t *testing.T) {
	k, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"net: address conflict with 02:11:22:33:44:55":                     "arp=one-ip",
		"eth: duplicate IP address detected":                               "arp=one-ip",
		"WARNING: 192.0.2.57 already in use, address conflict":             "arp=one-ip",
		"eth: no ethernet hardware":                                        "netchip=missing",
		"Ethernet shield was not found. Sorry, can't run without hardware": "netchip=missing",
		"network chip: none found":                                         "netchip=missing",
		"W5500 not responding":                                             "netchip=missing",
		"accept failed: too many connections":                              "sockets=used-up",
		"malloc failed":                                                    "memory-left=short",
		"reset reason: watchdog":                                           "starts=watchdog",
		"Brownout detector was triggered":                                  "starts=brown-out",
		"eeprom checksum mismatch, defaults loaded":                        "list-changed=changed",
		"Communication failure, is the MFRC522 properly connected?":        "version=zero",
		"ModemManager opened ttyACM0":                                      "claimant=a-service",
		"[Errno 16] could not open port /dev/ttyUSB0: resource busy":       "port-open=denied",
		"connect took 21 s":                                                "blocked-by=one-job",
	} {
		r := readLines(t, k, text)
		if !slices.Contains(r, want) {
			t.Errorf("%q shows %v, want %s", text, r, want)
		}
	}
	for text, not := range map[string]string{
		"net: waiting, no client yet":   "netchip",
		"ethernet: link up":             "netchip",
		"watchdog enabled, 8 s":         "starts",
		"brown-out level set to 2.7 V":  "starts",
		"eeprom: 4 tags, checksum good": "list-changed",
		"heap 1432 bytes free":          "memory-left=short",
		"max 20 cards":                  "sockets",
	} {
		for _, seen := range readLines(t, k, text) {
			if strings.HasPrefix(seen, not) {
				t.Errorf("%q shows %s", text, seen)
			}
		}
	}
}

func readLines(t *testing.T, k *Knowledge, text string) []string {
	t.Helper()
	profiles, err := parsers.Auto()
	if err != nil {
		t.Fatal(err)
	}
	r, err := k.ReadText(strings.NewReader("boot: start\nfirmware 1.2\n"+text+"\nready\n"), profiles...)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range r.Evidence() {
		out = append(out, k.Findings[e.Finding].ID+"="+k.Findings[e.Finding].Values[e.Value].ID)
	}
	return out
}
