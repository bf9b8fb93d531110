package parsers_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

// Shapes of values that people posted from their readers and that no built-in wording
// knows as they stand: learned from a few lines, a further one is read. A print with
// more than one reading stays as printed ("~"); nothing is padded, and a leading 0 is
// never octal.
func TestShapesAreLearnedFromAFewLines(t *testing.T) {
	for name, tt := range map[string]struct {
		lines []string
		as    string
		in    string
		want  string
	}{
		"small bytes padded instead of parted": {[]string{"got  5C 1A 91 E3", "got  5C0A 91 E3", "got  7E 31 1B44"}, "tag-present", "got  5C 1A 910B", "tag-present uid=5C1A910B"},
		"unpadded and joined":                  {[]string{"seen 5CA91E3", "seen 7E31B44", "seen 1A2B3C4"}, "tag-present", "seen 9C1B2D3", "tag-present uid=~9C1B2D3"},
		"unpadded, seven bytes":                {[]string{"seen 43FA122B7680", "seen 4A1B2C3D4E5F6", "seen 43FA122B7681"}, "tag-present", "seen 43FA122B7682", "tag-present uid=~43FA122B7682"},
		"one decimal number":                   {[]string{"tag 1544196579 here", "tag 1544196580 here", "tag 2544196579 here"}, "tag-present", "tag 1644196579 here", "tag-present uid=~1644196579"},
		"decimal with colons":                  {[]string{"card 92:10:145:227:36", "card 92:11:145:227:37", "card 136:4:63:161:18"}, "tag-present", "card 92:10:145:227:36", "tag-present uid=5C0A91E3"},
		"decimal with dashes":                  {[]string{"card 136-4-63-161-18", "card 92-10-145-227-36", "card 92-11-145-227-37"}, "tag-present", "card 92-10-145-227-36", "tag-present uid=5C0A91E3"},
		"decimal, 0 before small ones":         {[]string{"id 92 010 145 227", "id 192 168 145 227", "id 92 011 145 227"}, "tag-present", "id 92 010 145 009", "tag-present uid=5C0A9109"},
		"pairs with dashes":                    {[]string{"hello 5C-0A-91-E3", "hello 7E-31-0B-44", "hello 1A-2B-3C-4D"}, "card-accepted", "hello 04-3F-A1-22-B7-60-80", "card-accepted uid=043FA122B76080"},
		"lower case, unpadded":                 {[]string{"rd 5c a 91 e3", "rd 7e 31 b 44", "rd 1a 2b 3c 4d"}, "tag-present", "rd 5c a 91 b", "tag-present uid=5C0A910B"},
		"result numbers":                       {[]string{"poll result=3", "poll result=5", "poll result=1"}, "reader-error", "poll result=7", "reader-error"},
		"gain as the register has it":          {[]string{"antenna reg 64", "antenna reg 72", "antenna reg 112"}, "reader-error", "antenna reg 80", "reader-error"},
		"hardware address without padding":     {[]string{"hw DE.AD.BE.EF.FE.ED", "hw 2.54.57.0.0.57", "hw 2-54-57-0-0-58"}, "address", "hw 2.54.57.0.0.59", "address mac=02:54:57:00:00:59"},
		"address with a dot behind":            {[]string{"at 192.168.1.177.", "at 10.77.0.57.", "at 10.77.0.58."}, "address", "at 10.77.0.59.", "address ip=10.77.0.59"},
	} {
		t.Run(name, func(t *testing.T) {
			var lines []labelledLine
			for _, l := range tt.lines {
				lines = append(lines, labelledLine{[]string{tt.as}, l})
			}
			p, file := learned(t, "learned", lines)
			if diff := cmp.Diff(tt.want, said(eventsOf(tt.in, p)[0])); diff != "" {
				t.Errorf("%q (-want +got):\n%s\nlearned:\n%s", tt.in, diff, file)
			}
		})
	}
}

// What is no report stays text: a bare number or a line of a dump is no tag by guess.
func TestDumpsAndBareNumbersAreNoTags(t *testing.T) {
	ps := auto(t)
	for _, line := range []string{
		"1544196579", "395314324260", "158436756060", // a whole UID as one number, or anything else
		"   0      3   00 00 00 00  00 00 FF 07  80 69 FF FF  FF FF FF FF  [ 0 0 1 ]", // memory of a sector, access bits behind
		"          2   00 00 00 00  00 00 00 00  00 00 00 00  00 00 00 00  [ 0 0 0 ]",
		"Card SAK: 08", "SAK: 008", "PICC type: MIFARE 1KB", "tag type: 0x10",
	} {
		e := eventsOf(line, ps...)[0]
		if e.Kind != parsers.KindUnknown || e.UID() != nil {
			t.Errorf("%q: %s, tag %v; want text that names no tag", line, e.Kind, e.UID())
		}
	}
}

// What somebody says of lines that do not say it themselves: a coil's number and what was
// written to it, and the version of a known chip. A number that may be anything else
// stays one.
func TestNumbersAreWhatTheKindSaysTheyAre(t *testing.T) {
	tests := map[string]struct {
		kind  parsers.Kind
		lines []string
		want  []string
	}{
		"coil and value": {parsers.KindCoilWritten, []string{"out[117]=1", "out[117]=0", "out[118]=1"},
			[]string{"coil-written value=on coil=117", "coil-written value=off coil=117", "coil-written value=on coil=118"}},
		"behind a clock":          {parsers.KindCoilWritten, []string{"12:00:07 o 117 1", "12:00:09 o 117 0"}, []string{"coil-written value=on coil=117", "coil-written value=off coil=117"}},
		"coil alone":              {parsers.KindCoilFailed, []string{"out 117 stuck", "out 118 stuck"}, []string{"coil-failed coil=117", "coil-failed coil=118"}},
		"a count behind the coil": {parsers.KindCoilWritten, []string{"out 117 took 3", "out 117 took 14"}, []string{"coil-written coil=117", "coil-written coil=117"}},
		"bits alone":              {parsers.KindCoilWritten, []string{"out 1 0", "out 0 1"}, []string{"coil-written", "coil-written"}},
		"version":                 {parsers.KindReaderVersion, []string{"nfc says 92"}, []string{"reader-version version=0x92"}},
		"another number":          {parsers.KindReaderVersion, []string{"nfc says 31"}, []string{"reader-version"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var lines []labelledLine
			for _, line := range tt.lines {
				lines = append(lines, labelledLine{[]string{string(tt.kind)}, line})
			}
			p, file := learned(t, "numbers", lines)
			if got := allSaid(streamEvents(t, []byte(strings.Join(tt.lines, "\n")), p)); !slices.Equal(got, tt.want) {
				t.Errorf("read as %q, want %q\n%s", got, tt.want, file)
			}
		})
	}
}
