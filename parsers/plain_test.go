package parsers_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

// What a board that speaks plain English prints, and what each line must mean.
// The expectations are the ones agreed for such boards, line by line.
func TestPlainWording(t *testing.T) {
	tests := []struct{ line, want string }{
		{"---- start ----", "boot"},
		{"started after: power-on", "reset-cause cause=power-on"},
		{"started after: reset input", "reset-cause cause=external"},
		{"started after: brown-out", "reset-cause cause=brown-out"},
		{"started after: watchdog", "reset-cause cause=watchdog"},
		{"firmware larkspur 3.2.0", "firmware name=larkspur version=3.2.0"},
		{"setting coil = 117", "setting name=coil value=117"},
		{"setting polarity = active-high", "setting name=polarity value=active-high"},
		{"setting leaving = reported", "setting name=leaving value=reported"},
		{"setting controller = 10.77.0.10:502", "setting name=controller value=10.77.0.10:502"},
		{"setting unit = 1", "setting name=unit value=1"},
		{"network mac 02:54:57:00:00:57", "address mac=02:54:57:00:00:57"},
		{"network address 10.77.0.57 mask 255.255.255.0 gateway 10.77.0.1", "address ip=10.77.0.57 mask=255.255.255.0 gateway=10.77.0.1"},
		{"reader chip version 0x92", "reader-version version=0x92"},
		{"reader chip version 0x0", "reader-version version=0x00"},
		{"reader chip self-test passed", "reader-self-test result=passed"},
		{"reader chip self-test failed", "reader-self-test result=failed"},
		{"reader chip self-test not comparable", "reader-self-test result=not-comparable"},
		{"reader chip does not answer", "reader-missing"},
		{"reader chip error: collision", "reader-error text=collision"},
		{"no master tag yet, show one to enrol it", "master-missing"},
		{"master tag on file: 04 A1 B2 C3 D4 E5 F6", "setting name=master value=04A1B2C3D4E5F6"},
		{"cards on file: 3", "setting name=cards value=3"},
		{"master tag 04 A1 B2 C3 D4 E5 F6 is enrolled", "master-enrolled uid=04A1B2C3D4E5F6"},
		{"programming mode on", "program-enter"},
		{"programming mode off", "program-exit"},
		{"card 5C 0A 91 E3 added", "card-added uid=5C0A91E3"},
		{"card 5C 0A 91 E3 removed", "card-removed uid=5C0A91E3"},
		{"card 5C 0A 91 E3 accepted", "card-accepted uid=5C0A91E3"},
		{"card 04 A1 B2 C3 D4 E5 F6 refused", "card-refused uid=04A1B2C3D4E5F6"},
		{"card list full", "list-full"},
		{"card list wiped", "list-wiped"},
		{"tag 5C 0A 91 E3 on the reader", "tag-present uid=5C0A91E3"},
		{"tag 5C 0A 91 E3 gone", "tag-absent uid=5C0A91E3"},
		{"network link up", "link-up"},
		{"network link down", "link-down"},
		{"controller 10.77.0.10:502 connected", "controller-up address=10.77.0.10:502"},
		{"controller 10.77.0.10:502 does not answer", "controller-down address=10.77.0.10:502"},
		{"controller 10.77.0.10:502 connection lost", "controller-down address=10.77.0.10:502"},
		{"coil 117 written on", "coil-written value=on coil=117"},
		{"coil 117 written off", "coil-written value=off coil=117"},
		{"coil 117 not written: no controller", "coil-failed text=no controller coil=117"},
		{"board fault: lists do not fit", "board-fault text=lists do not fit"},
		{"ready", "unknown"},
		// What must not matter: case, runs of blanks, a monitor's time stamp.
		{"  Card   5c 0a 91 e3\tAdded ", "card-added uid=5C0A91E3"},
		{"15:10:00.015 -> tag 5C 0A 91 E3 gone", "tag-absent uid=5C0A91E3"},
		{"reader 1: tag 5C 0A 91 E3 gone", "tag-absent reader=1 uid=5C0A91E3"},
		// What must: a broken value keeps the line unknown and says why.
		{"card 5C 0A 91 added", `unknown problem=field uid: uid "5C 0A 91": 3 bytes, a UID has 4, 7 or 10`},
		{"network address 10.77.0.300", `unknown problem=field ip: address "10.77.0.300": not four numbers up to 255`},
		{"card 5C 0A 91 E3 added twice", "unknown uid=5C0A91E3"},
	}
	p := builtin(t, parsers.WordingPlain)
	for _, tt := range tests {
		events := streamEvents(t, []byte(tt.line+"\r\n"), p)
		if diff := cmp.Diff([]string{tt.want}, allSaid(events)); diff != "" {
			t.Errorf("%q (-want +got):\n%s", tt.line, diff)
		}
	}
}

func TestConvention(t *testing.T) {
	tests := []struct{ line, want string }{
		{"@boot", "boot"},
		{"@card-added uid=04A1B2C3D4E5F6", "card-added uid=04A1B2C3D4E5F6"},
		{"@setting name=coil value=117", "setting name=coil value=117"},
		{"@tag-present reader=1 uid=5c:0a:91:e3", "tag-present reader=1 uid=5C0A91E3"},
		{"  @BOARD-FAULT  text=\"lists \\\"a\\\" and \\\\b\"  ", `board-fault text=lists "a" and \b`},
		{"@reader-version version=0x0", "reader-version version=0x00"},
		{"@address ip=10.77.0.57 mac=2-54-57-0-0-57", "address ip=10.77.0.57 mac=02:54:57:00:00:57"},
		{"@detached", "unknown"},           // only the computer states that
		{"@harbour-bell tolls", "unknown"}, // a later version's, perhaps
		{"card-added uid=5C0A91E3", "unknown uid=5C0A91E3"},
		{"@card-added uid=5C", `unknown problem=field uid: uid "5C": 2 digits, a UID has at least 4 bytes`},
		{"@card-added uid", `unknown problem="uid": want key=value`},
		{"@setting name=coil", "unknown problem=a setting needs a name and a value"},
		{"@setting name=coil value=1 value=2", "unknown problem=field value: stands twice"},
		{`@board-fault text="open`, "unknown problem=field text: no closing quote"},
		{"@tag-absent reader=x", `unknown problem=field reader: index "x": want a number up to 65535`},
	}
	p := builtin(t, parsers.WordingConvention)
	for _, tt := range tests {
		events := streamEvents(t, []byte(tt.line+"\n"), p)
		if diff := cmp.Diff([]string{tt.want}, allSaid(events)); diff != "" {
			t.Errorf("%q (-want +got):\n%s", tt.line, diff)
		}
	}
}

// Every kind that a board can state can be said in the convention.
func TestConventionKnowsEveryKind(t *testing.T) {
	p := builtin(t, parsers.WordingConvention)
	for _, k := range parsers.Kinds() {
		line := "@" + string(k)
		if k == parsers.KindSetting {
			line += " name=coil value=117"
		}
		e := streamEvents(t, []byte(line+"\n"), p)[0]
		if taken := e.Kind == k && e.Profile == "convention"; taken == k.Host() {
			t.Errorf("%q says %s; the computer's own kinds must be refused, all others taken", line, e.Kind)
		}
	}
}

// Shapes L01 to L60 as example programs of open reader libraries print them: the
// numbers and the tags are those of the published shapes.
func TestReaderLibraryWording(t *testing.T) {
	tests := map[string]struct {
		in   string
		want []string
	}{
		"version, meaning behind =":       {"Firmware Version: 0x92 = v2.0", []string{"reader-version version=0x92 meaning=v2.0"}},
		"version, clone":                  {"Firmware Version: 0x88 = (clone)", []string{"reader-version version=0x88 meaning=(clone)"}},
		"zero is one digit":               {"Firmware Version: 0x0 = (unknown)", []string{"reader-version version=0x00 meaning=(unknown)"}},
		"old releases, comma in brackets": {"MFRC522 Software Version: 0x12 (unknown),probably a clone?", []string{"reader-version version=0x12 meaning=(unknown),probably a clone?"}},
		"value and label missing":         {" = (unknown)", []string{"reader-version"}},
		"value missing":                   {"Version:  (unknown)", []string{"reader-version"}},
		"part name":                       {"Version: 0xb2 FM17522_1", []string{"reader-version version=0xB2 meaning=FM17522_1"}},
		"abbreviated":                     {"MFRC522 ver. 0xFF", []string{"reader-version version=0xFF"}},
		"version in words":                {"I (411) rc522: initialized (firmware v2.0)", []string{"reader-version version=0x92"}},
		"reader index":                    {"Reader 0: Firmware Version: 0x92 = v2.0", []string{"reader-version reader=0 version=0x92 meaning=v2.0"}},
		"warning":                         {"WARNING: Communication failure, is the MFRC522 properly connected?", []string{"reader-missing"}},
		"dump":                            {"Card UID: 5C 0A 91 E3", []string{"tag-present uid=5C0A91E3"}},
		"dump, seven bytes":               {"Card UID: 04 3F A1 22 B7 60 80", []string{"tag-present uid=043FA122B76080"}},
		"several readers":                 {"Reader 1: Card UID: 5C 0A 91 E3", []string{"tag-present reader=1 uid=5C0A91E3"}},
		"joined with a word":              {"TAG:5C0A91E3", []string{"tag-present uid=5C0A91E3"}},
		"tab before the colon":            {"uid\t : 0x5c0a91e3", []string{"tag-present uid=5C0A91E3"}},
		"quoted list":                     {"UID: ('0x5c', '0xa', '0x91', '0xe3')", []string{"tag-present uid=5C0A91E3"}},
		"decimal with check":              {"Card read UID: 92,10,145,227,36", []string{"tag-present uid=5C0A91E3"}},
		"no label":                        {" 5c a 91 e3", []string{"tag-present uid=5C0A91E3"}},
		"hexadecimal and decimal lines":   {"In hex:  5C 0A 91 E3\r\nIn dec:  92 010 145 227", []string{"tag-present uid=5C0A91E3"}},
		"decimal line alone":              {"In dec:  92 010 45 09", []string{"tag-present uid=5C0A2D09"}},
		"hexadecimal line alone":          {"In hex:  5C 0A 91 E3\r\nelse", []string{"tag-present uid=5C0A91E3", "unknown"}},
		"label, value on the next line":   {"Scanned PICC's UID:\r\n5CA91E3", []string{"tag-present uid=~5CA91E3"}},
		"label, value does not come":      {"Scanned PICC's UID:\r\n--------", []string{"unknown", "unknown"}},
		"stored master":                   {"Master Card's UID\r\n5CA91E3", []string{"setting name=master value=~5CA91E3"}},
		"misspelt, one s": {"Scanned PICC's UID:\r\n7E31B44\r\nI do not know this PICC, adding...\r\nSuccesfully added ID record to EEPROM",
			[]string{"tag-present uid=~7E31B44", "unknown", "card-added uid=~7E31B44"}},
		"spelt, two s":                  {"Successfully removed ID record from EEPROM", []string{"card-removed"}},
		"records":                       {"I have 3 record(s) on EEPROM", []string{"setting name=cards value=3"}},
		"records, never used":           {"There are 255 record(s) in the memory", []string{"setting name=cards value=255"}},
		"master":                        {"No Master Card Defined", []string{"master-missing"}},
		"program mode":                  {"Hello Master - Entered Program Mode\r\nExiting Program Mode", []string{"program-enter", "program-exit"}},
		"pass":                          {"TAG:5C0A91E3\r\nWelcome, You shall pass", []string{"tag-present uid=5C0A91E3", "card-accepted uid=5C0A91E3"}},
		"address, dot after each octet": {"My IP address: 192.168.1.177.", []string{"address ip=192.168.1.177"}},
		"hardware address with dots":    {"MAC: DE.AD.BE.EF.FE.ED", []string{"address mac=DE:AD:BE:EF:FE:ED"}},
		"link":                          {"Link status: ON\r\nLink status: OFF", []string{"link-up", "link-down"}},
		"self-test":                     {"Result: OK\r\nResult: DEFECT or UNKNOWN", []string{"reader-self-test result=passed", "reader-self-test result=failed"}},
	}
	p := builtin(t, parsers.WordingReaderLibrary)
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, allSaid(streamEvents(t, []byte(tt.in), p))); diff != "" {
				t.Errorf("%q (-want +got):\n%s", tt.in, diff)
			}
		})
	}
}

// Whole captures: what the case descriptions say happened must be among the
// events, in that order.
func TestCapturesTellTheirCase(t *testing.T) {
	tests := map[string][]string{
		// No master; the first tag becomes it; 255 records; the other tag is added;
		// after the restart the other tag is the master.
		"F69.long.log": {"boot", "master-missing", "master-enrolled uid=~5CA91E3", "program-enter", "setting name=cards value=255",
			"card-added uid=~7E31B44", "program-exit", "setting name=cards value=0", "boot", "setting name=master value=~7E31B44", "card-refused uid=~5CA91E3"},
		// Tags pass, the wipe button erases the master, a player's tag becomes it.
		"F73.long.log": {"boot", "card-accepted uid=7D1F52D7", "card-refused uid=131BF3EE", "master-missing", "boot", "master-missing", "master-enrolled uid=7D1F52D7"},
		// In and out of programming, a card added, accepted, removed, refused.
		"H07.log": {"setting name=cards value=7", "program-enter", "program-exit", "card-added uid=C411FE54", "card-accepted uid=C411FE54",
			"card-removed uid=C411FE54", "card-refused uid=C411FE54"},
		// Three readers with compatible chips, each with its index.
		"H13.log": {"reader-version reader=0 version=0x88 meaning=(clone)", "reader-version reader=2 version=0x88 meaning=(clone)",
			"tag-present reader=0 uid=030FBB1F", "tag-present reader=1 uid=167DDB15"},
		"H04.log": {"noise"},
	}
	ps := auto(t)
	for name, want := range tests {
		t.Run(name, func(t *testing.T) {
			got := allSaid(streamEvents(t, readCapture(t, name), ps...))
			rest := want
			for _, line := range got {
				if len(rest) > 0 && line == rest[0] {
					rest = rest[1:]
				}
			}
			if len(rest) > 0 {
				t.Errorf("%q did not come, in its place, among\n%s", rest[0], strings.Join(got, "\n"))
			}
		})
	}
}
