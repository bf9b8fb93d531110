package diagnose

import (
	"strings"
)

// What makes a line one of the computer's, of a tool at the network, or of who compares
// several boards, and not the board's own. Each is a form that such lines have whatever
// they say.
var hostForms = lazily(`(?i)` + strings.Join([]string{

	// a shell's prompt: user@host, $, a drive, three arrows
	`^(?:[\w.\-]+@[\w.\-]+[: ~]|[\w.()\-: ]{0,40}\$ ?\w|\$|[a-z]:\\|ps [a-z]:|>>> )`,
	// a kernel's clock to the microsecond, a system log's date and sender
	`^\[ *\d+\.\d{6}\]`,
	`^(?:<\d+>)?(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec) +\d+ \d\d:\d\d:\d\d `,
	`\b(?:kernel|systemd|udevd?|udev-worker|modemmanager|dmesg)\b`,
	`\b(?:usb|hub) \d+-\d[\d.]*:`,
	// a port as operating systems call it, a device file's rights, an error's number
	`\b(?:tty(?:usb|acm|ama|s)\d|com\d{1,2}\b|cu\.\w|tty\.\w)`,
	`^(?:ls: ?)?[bcdl-](?:[r-][w-][xst-]){3}\b`,
	`\berrno\b|\b\w+(?:Error|Exception)\b:|\btraceback\b|\bE(?:ACCES|BUSY|NOENT|PERM)\b`,
	// who says it: a computer by what it is
	`^(?:pc|laptop|computer|notebook|desktop|windows|linux|macos|os|device manager|usb(?: events| list| tree)?|ports?(?: list| before| after)?|groups|id)\b[^:]{0,30}[:$]`,
	// what a tool of the network prints, or was told
	`^(?:ping|arp|nmap|telnet|traceroute|ipconfig|ifconfig|lsusb|lsof|fuser|stty|ls|dir)\b`,
	`\b\d+ bytes from\b|^reply from\b|\brequest timed out\b|\bhost unreachable\b|\bpackets? (?:transmitted|received|lost)\b|\b\d+ ?% (?:packet )?loss\b`,
	`^(?:unit|slave|station) (?:id )?\d|\bfc ?\d{1,2}\b|^tcp (?:connect|still|port|syn)\b`,
	// what was done at the port, with what came of it
	`^(?:open|read|listen)(?:ed|ing)?(?: \d+ ?s\b[^:]*| port[^:]*| again[^:]*)?:`,
	// one board of several, one time of several
	`^(?:prop|board|master|client) [a-z0-9]\b[^:=]*[:=]|^day \d`,
	`^(?:master|client|connection) \d+ (?:connected|refused|ok|timeout|accepted)`,
}, "|"))

func hostLine(text string) bool { return hostForms().MatchString(text) }
