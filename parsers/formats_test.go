package parsers_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

// A lineFormat is one of the formats L01 to L60 that reported consoles were in, with
// lines of that shape and what they say: "unknown" for text that reports nothing, with
// the tolerant reading's fields where it holds some.
type lineFormat struct {
	in   string
	want []string
	// learnAs is the kind of the lines for somebody who teaches them; "" where the built-in
	// wordings know them.
	learnAs parsers.Kind
}

// The tags behind the numbers: 5C0A91E3, 7E310B44, 043FA122B76080, 88043FA1.
var lineFormats = map[string]lineFormat{
	"L01": {in: "Firmware Version: 0x92 = v2.0\nFirmware Version: 0x12 = counterfeit chip\nFirmware Version: 0x0 = (unknown)",
		want: []string{"reader-version version=0x92 meaning=v2.0", "reader-version version=0x12 meaning=counterfeit chip", "reader-version version=0x00 meaning=(unknown)"}},
	"L02": {in: "MFRC522 Software Version: 0x0 (unknown),probably a clone?", want: []string{"reader-version version=0x00 meaning=(unknown),probably a clone?"}},
	"L03": {in: "Firmware Version: 0x0 = (unknown)\nFirmware Version: 0xFF = (unknown)",
		want: []string{"reader-version version=0x00 meaning=(unknown)", "reader-version version=0xFF meaning=(unknown)"}},
	"L04": {in: " = (unknown)", want: []string{"reader-version"}},
	"L05": {in: "Version:  (unknown)", want: []string{"reader-version"}},
	"L06": {in: "Version: 0x92 v2.0\nVersion: 0xb2 FM17522_1", want: []string{"reader-version version=0x92 meaning=v2.0", "reader-version version=0xB2 meaning=FM17522_1"}},
	"L07": {in: "MFRC522 ver. 0xFF", want: []string{"reader-version version=0xFF"}},
	"L08": {in: "I (411) rc522: initialized (firmware v2.0)", want: []string{"reader-version version=0x92"}},
	"L09": {in: "Reader 0: Firmware Version: 0x92 = v2.0\nReader 2: Firmware Version: 0x88 = (clone)",
		want: []string{"reader-version reader=0 version=0x92 meaning=v2.0", "reader-version reader=2 version=0x88 meaning=(clone)"}},
	"L10": {in: "Firmware Version: 0x0 = (unknown)\nWARNING: Communication failure, is the MFRC522 properly connected?\nSYSTEM HALTED: Check connections.",
		want: []string{"reader-version version=0x00 meaning=(unknown)", "reader-missing", "board-fault text=Check connections."}},

	"L20": {in: "UID: 5C 0A 91 E3\nCard UID: 04 3F A1 22 B7 60 80", want: []string{"tag-present uid=5C0A91E3", "tag-present uid=043FA122B76080"}},
	"L21": {in: "Scanned PICC's UID:\n5CA91E3", want: []string{"tag-present uid=~5CA91E3"}},
	"L22": {in: "Scanned PICC's UID:\n43FA122B7680\nUID: 43FA122B7680", want: []string{"tag-present uid=~43FA122B7680", "tag-present uid=~43FA122B7680"}},
	"L23": {in: "TAG:5C0A91E3", want: []string{"tag-present uid=5C0A91E3"}},
	"L24": {in: " 5C0A 91 E3\n 7E 310B 44", learnAs: parsers.KindTagPresent, want: []string{"tag-present uid=5C0A91E3", "tag-present uid=7E310B44"}},
	"L25": {in: "5C 0A 91 E3\n5c 0a 91 e3", want: []string{"tag-present uid=5C0A91E3", "tag-present uid=5C0A91E3"}},
	"L26": {in: "uid\t : 0x5c0a91e3", want: []string{"tag-present uid=5C0A91E3"}},
	"L27": {in: "UID: ('0x5c', '0xa', '0x91', '0xe3')", want: []string{"tag-present uid=5C0A91E3"}},
	"L28": {in: "Card read UID: 92,10,145,227\nCard read UID: 92,10,145,227,36", want: []string{"tag-present uid=5C0A91E3", "tag-present uid=5C0A91E3"}},
	"L29": {in: "UID: 92:10:145:227:36", want: []string{"tag-present uid=5C0A91E3"}},
	"L30": {in: "UID: 136-4-63-161-18", want: []string{"tag-present uid=88043FA1"}},
	"L31": {in: "Card detected:\n92\n10\n145\n227\n\nCard detected:\n4\n63\n161\n34\n183\n96\n128\n\n",
		want: []string{"tag-present uid=5C0A91E3", "unknown", "tag-present uid=043FA122B76080", "unknown"}},
	"L32": {in: "In hex:  5C 0A 91 E3\nIn dec:  92 010 145 227\nIn dec:  92 010 45 09", want: []string{"tag-present uid=5C0A91E3", "tag-present uid=5C0A2D09"}},
	"L33": {in: "number 1544196579 came\nnumber 2117143364 came", learnAs: parsers.KindTagPresent,
		want: []string{"tag-present uid=~1544196579", "tag-present uid=~2117143364"}}, // which end is first the number alone does not tell
	"L34": {in: "UID: E3910A5C", want: []string{"tag-present uid=E3910A5C"}}, // as printed: nothing in the line says that it is reversed
	"L35": {in: "UID: 5C-0A-91-E3", want: []string{"tag-present uid=5C0A91E3"}},
	"L36": {in: "UID: 04:3F:A1:22:B7:60:80", want: []string{"tag-present uid=043FA122B76080"}},
	"L37": {in: " 5c a 91 e3", want: []string{"tag-present uid=5C0A91E3"}},
	"L38": {in: "Card SAK: 08", want: []string{"unknown"}},
	"L39": {in: "SAK: 008", want: []string{"unknown"}},
	"L40": {in: "PICC type: MIFARE 1KB\nPICC type: Unknown type", want: []string{"unknown", "unknown"}},
	"L41": {in: "tag type: 0x10", want: []string{"unknown"}},
	"L42": {in: "read result=3\nread result=0", want: []string{"unknown result=3", "unknown result=0"}},
	"L43": {in: "  15     63   00 00 00 00  00 00 FF 07  80 69 FF FF  FF FF FF FF  [ 0 0 1 ] \n         62   00 00 00 00  00 00 00 00  00 00 00 00  00 00 00 00  [ 0 0 0 ] ",
		want: []string{"unknown", "unknown"}},

	"L50": {in: "15:10:05.274 -> Card UID: 5C 0A 91 E3", want: []string{"tag-present uid=5C0A91E3"}},
	"L51": {in: "Car\uFFFDFirmware Version: 0x92 = v2.0\nCar\xFF\xFEFirmware Version: 0x92 = v2.0",
		want: []string{"noise", "reader-version version=0x92 meaning=v2.0", "noise", "reader-version version=0x92 meaning=v2.0"}},
	"L52": {in: "TAG:5C0A91E3\r\nTAG:5C0A91E3\n\r\nTAG:5C0A91E3", want: []string{"tag-present uid=5C0A91E3", "tag-present uid=5C0A91E3", "unknown", "tag-present uid=5C0A91E3"}},
	"L53": {in: "-------------------\n*****************************", want: []string{"unknown", "unknown"}},
	"L54": {in: "My IP address: 192.168.1.177\nMy IP address: 192.168.1.177.", want: []string{"address ip=192.168.1.177", "address ip=192.168.1.177"}},
	"L55": {in: "MAC: DE.AD.BE.EF.FE.ED\nMAC: DE:AD:BE:EF:FE:ED\nMAC: DE-AD-BE-EF-FE-ED\nMAC: 2.54.57.0.0.57",
		want: []string{"address mac=DE:AD:BE:EF:FE:ED", "address mac=DE:AD:BE:EF:FE:ED", "address mac=DE:AD:BE:EF:FE:ED", "address mac=02:54:57:00:00:57"}},
	"L56": {in: "Link status: ON\nLink status: OFF\nlink: 1\nlink: 2\nlink status: 1\nlink status: 2\nlink status: 0",
		want: []string{"link-up", "link-down", "unknown guess=link-up", "unknown guess=link-down", "link-up", "link-down", "unknown result=0"}},
	"L57": {in: "I have 3 record(s) on EEPROM\nThere are 255 record(s) in the memory", want: []string{"setting name=cards value=3", "setting name=cards value=255"}},
	"L58": {in: "Scanned PICC's UID:\n7E31B44\nSuccesfully added ID record to EEPROM\nSuccessfully removed ID record from EEPROM",
		want: []string{"tag-present uid=~7E31B44", "card-added uid=~7E31B44", "card-removed uid=~7E31B44"}},
	"L59": {in: "Result: OK\nResult: DEFECT or UNKNOWN", want: []string{"reader-self-test result=passed", "reader-self-test result=failed"}},
	"L60": {in: "Antenna gain: 64\nAntenna gain: 112", want: []string{"setting name=gain value=64", "setting name=gain value=112"}},
}

// Every line format that consoles of such boards were met with is read right, by a
// built-in wording or one that learning makes from its lines; digits that are not there
// are never made up, and no number is taken as octal.
func TestLineFormatsOfReportedConsoles(t *testing.T) {
	for from, to := range map[int]int{1: 10, 20: 43, 50: 60} {
		for n := from; n <= to; n++ {
			id := fmt.Sprintf("L%02d", n)
			if _, ok := lineFormats[id]; !ok {
				t.Errorf("%s has no lines here", id)
			}
		}
	}
	for id, f := range lineFormats {
		t.Run(id, func(t *testing.T) {
			profiles := auto(t)
			if f.learnAs != "" {
				var lines []labelledLine
				for line := range strings.SplitSeq(f.in, "\n") {
					lines = append(lines, labelledLine{[]string{string(f.learnAs)}, line})
				}
				p, _ := learned(t, id, lines)
				profiles = []*parsers.Profile{p}
			}
			var got []string
			for _, e := range streamEvents(t, []byte(f.in), profiles...) {
				text := said(e)
				if e.Kind == parsers.KindUnknown {
					text = "unknown" + fieldsSaid(e, parsers.FieldGuess, parsers.FieldResult, "uid")
				}
				got = append(got, text)
			}
			if diff := cmp.Diff(f.want, got); diff != "" {
				t.Errorf("%q (-want +got):\n%s", f.in, diff)
			}
		})
	}
}

// fieldsSaid are those of an event's fields that it has, as said prints them.
func fieldsSaid(e parsers.Event, names ...string) (text string) {
	for _, name := range names {
		if v := e.Field(name); v != "" {
			text += " " + name + "=" + v
		}
	}
	return text
}
