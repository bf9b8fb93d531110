package plan_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"propwright/checklist"
	"propwright/checklist/plan"
	"propwright/parsers"
)

// tidewater is a site with two props. Each line is a thing as the command line
// names it.
const tidewater = `
controller bay-1 address=10.77.0.10 base=1
board rdr-07 mac=02:54:57:00:00:57 ip=10.77.0.57/24 gateway=10.77.0.1 controller=bay-1 polarity=active-high leaving=reported lamps=red,green,blue
board rdr-08 mac=02:54:57:00:00:58 ip=10.77.0.58/24 gateway=10.77.0.1 controller=bay-1
reader rdr-07 coil=117
reader rdr-08 coil=118
prop harbour-bell room=Lighthouse cover_mm=6 drives=light board=rdr-07
prop chart-table room=Lighthouse cover_mm=4 drives=door board=rdr-08
tag bell-clapper uid=04A1B2C3D4E5F6 role=show prop=harbour-bell form=fob
tag brass-compass uid=04A1B2C3D4E5F7 role=show prop=chart-table
tag master-1 uid=5C0A91E3 role=master keeper=Duty-manager
`

func tidewaterPlan(t *testing.T) plan.Plan {
	t.Helper()
	p := plan.Plan{Site: plan.Site{Name: "The Tidewater Rooms"}}
	for line := range strings.Lines(strings.TrimSpace(tidewater)) {
		w := strings.Fields(line)
		if err := p.Add(plan.Kind(w[0]), w[1], w[2:]...); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

func compare(want, got plan.Plan) string {
	return cmp.Diff(want, got, cmp.Comparer(func(a, b parsers.UID) bool { return a == b }),
		cmpopts.EquateComparable(plan.Board{}.IP, plan.Board{}.Gateway, plan.MAC{}))
}

func TestItemIsWhatARunIsJudgedBy(t *testing.T) {
	p := tidewaterPlan(t)
	got, err := p.Item("harbour-bell")
	if err != nil {
		t.Fatal(err)
	}
	want := checklist.Item{
		Site: "The Tidewater Rooms", Prop: "harbour-bell", Room: "Lighthouse", Drives: "light", CoverMM: 6,
		Board: checklist.BoardPlan{
			Asset: "rdr-07", MAC: "02:54:57:00:00:57", IP: "10.77.0.57", Mask: "255.255.255.0", Gateway: "10.77.0.1",
			Speed: 115200, Polarity: "active-high", Leaving: "reported", Lamps: []string{"red", "green", "blue"}, SupplyV: 5,
		},
		Readers:    []checklist.Reader{{Index: 0, Coil: 117, Behaviour: "follows"}},
		Controller: checklist.Controller{Name: "bay-1", Address: "10.77.0.10", Port: 502, Unit: 1, Base: 1},
		Taken: []checklist.Claim{
			{Setting: parsers.SettingCoil, Value: "118", Owner: "chart-table"},
			{Setting: parsers.SettingIP, Value: "10.77.0.58", Owner: "chart-table"},
			{Setting: parsers.SettingMAC, Value: "02:54:57:00:00:58", Owner: "chart-table"},
			{Setting: parsers.SettingIP, Value: "10.77.0.10", Owner: "bay-1"},
		},
		Tags: []checklist.Tag{
			{UID: "04A1B2C3D4E5F6", Role: "show", Whose: "harbour-bell", Form: "fob", State: "in use"},
			{UID: "5C0A91E3", Role: "master", Whose: "Duty-manager", State: "in use"},
		},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Item (-want +got)\n%s", diff)
	}
	if owner := got.Owner(parsers.SettingCoil, "118"); owner != "chart-table" {
		t.Errorf("owner of coil 118: %q, want chart-table", owner)
	}
}

// A coil of another controller, an address of another network and a tag that is
// out of use are nobody's business here; a MAC is, wherever it is.
func TestItemClaimsOnlyWhatCanClash(t *testing.T) {
	p := tidewaterPlan(t)
	want, err := p.Item("harbour-bell")
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{
		"controller bay-2 address=10.77.0.10 base=0 network=annex",
		"board rdr-20 mac=02:54:57:00:00:60 ip=10.77.0.57/24 network=annex controller=bay-2",
		"reader rdr-20 coil=117",
		"tag old-master uid=5C0A91E9 role=master keeper=Duty-manager state=retired",
	} {
		w := strings.Fields(line)
		if err := p.Add(plan.Kind(w[0]), w[1], w[2:]...); err != nil {
			t.Fatal(err)
		}
	}
	got, err := p.Item("harbour-bell")
	if err != nil {
		t.Fatal(err)
	}
	mac := checklist.Claim{Setting: parsers.SettingMAC, Value: "02:54:57:00:00:60", Owner: "rdr-20"}
	want.Taken = slices.Insert(want.Taken, len(want.Taken)-1, mac) // before the controllers' addresses
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Item (-want +got)\n%s", diff)
	}
}

func TestItemNeedsABoardAndAReader(t *testing.T) {
	p := tidewaterPlan(t)
	for _, add := range [][]string{
		{"prop", "empty-shelf", "room=Lighthouse", "cover_mm=0", "drives=light"},
		{"board", "rdr-09"},
		{"prop", "bare-board", "room=Lighthouse", "cover_mm=0", "drives=light", "board=rdr-09"},
	} {
		if err := p.Add(plan.Kind(add[0]), add[1], add[2:]...); err != nil {
			t.Fatal(err)
		}
	}
	for prop, want := range map[string]string{
		"harbor-bell": `prop "harbor-bell": not in the plan, did you mean harbour-bell?`,
		"empty-shelf": `prop "empty-shelf": no board is at it`,
		"bare-board":  `prop "bare-board": board "rdr-09": no reader is planned on it`,
	} {
		if _, err := p.Item(prop); err == nil || err.Error() != want {
			t.Errorf("Item(%q): %v\nwant %s", prop, err, want)
		}
	}
}

// Each rule, and the one line that says which value breaks it and whose it is.
func TestAddRefuses(t *testing.T) {
	tests := map[string]string{
		"controller bay-1 address=10.77.0.11 base=1":          `controller "bay-1": is in the plan already`,
		"controller bay-2 address=10.77.0.10 base=0":          `controller "bay-2": address "10.77.0.10": port 502, unit 1: taken by controller "bay-1"`,
		"controller bay-2 address=10.77.0.57 base=0":          `controller "bay-2": address "10.77.0.57": taken by board "rdr-07"`,
		"controller bay-2 address=10.77.0.11 base=2":          `controller "bay-2": base "2": must be 0 to 1`,
		"controller bay-2 address=10.77.0.11":                 `controller "bay-2": base: missing, give base=0|1`,
		"controller bay-2 address=10.77.0.11 base=1 unit=256": `controller "bay-2": unit "256": must be 0 to 255`,
		"controller bay-2 address=10.77.0.11 base=1 port=0":   `controller "bay-2": port "0": must be 1 to 65535`,
		"controller bay-2 address=203.0.113.5 base=1":         `controller "bay-2": address "203.0.113.5": in 203.0.113.0/24, which is for documentation and not for devices (RFC 5737)`,
		"controller Bay-2 address=10.77.0.11 base=1":          `controller "Bay-2": name "Bay-2": must be lower-case letters and digits with single dashes between, as in harbour-bell`,

		"board rdr-07":                                     `board "rdr-07": is in the plan already`,
		"board rdr-09 mac=02:54:57:00:00:57":               `board "rdr-09": mac "02:54:57:00:00:57": taken by board "rdr-07"`,
		"board rdr-09 mac=03:00:00:00:00:01":               `board "rdr-09": mac "03:00:00:00:00:01": a group address, which no board can have (the first byte is odd)`,
		"board rdr-09 ip=10.77.0.57/24":                    `board "rdr-09": ip "10.77.0.57": taken by board "rdr-07"`,
		"board rdr-09 ip=10.77.0.10/24":                    `board "rdr-09": ip "10.77.0.10": taken by controller "bay-1"`,
		"board rdr-09 ip=10.77.0.1/24":                     `board "rdr-09": ip "10.77.0.1": gateway of board "rdr-07"`,
		"board rdr-09 ip=10.77.0.255/24":                   `board "rdr-09": ip "10.77.0.255": broadcast address of 10.77.0.0/24`,
		"board rdr-09 ip=10.77.0.59/24 gateway=10.78.0.1":  `board "rdr-09": gateway "10.78.0.1": outside of the board's network 10.77.0.0/24`,
		"board rdr-09 ip=10.77.0.59/24 gateway=10.77.0.59": `board "rdr-09": gateway "10.77.0.59": the board's own address`,
		"board rdr-09 ip=10.77.0.59/24 gateway=10.77.0.0":  `board "rdr-09": gateway "10.77.0.0": network address of 10.77.0.0/24`,
		"board rdr-09 ip=10.77.0.59/24 gateway=10.77.0.58": `board "rdr-09": gateway "10.77.0.58": taken by board "rdr-08"`,
		"board rdr-09 gateway=10.77.0.1":                   `board "rdr-09": gateway "10.77.0.1": a board without an ip has no gateway`,
		"board rdr-09 controller=bay-9":                    `board "rdr-09": controller "bay-9": not in the plan`,
		"board rdr-09 controller=bay-1 network=annex":      `board "rdr-09": controller "bay-1": is in network "main", the board in "annex"`,
		"board rdr-09 polarity=high":                       `board "rdr-09": polarity "high": must be one of: active-high, active-low`,
		"board rdr-09 lamps=red,red":                       `board "rdr-09": lamps "red": twice`,
		"board rdr-09 supply_v=NaN":                        `board "rdr-09": supply_v "NaN": must be 1 to 60`,
		"board rdr-09 speed=fast":                          `board "rdr-09": speed "fast": not a whole number`,

		"reader rdr-07 coil=119":                       `reader "rdr-07": is in the plan already`,
		"reader rdr-07/1 coil=118":                     `reader "rdr-07/1": coil "118": taken by prop "chart-table" at controller "bay-1", unit 1`,
		"reader rdr-07/1 coil=0":                       `reader "rdr-07/1": coil "0": must be 1 to 65536 at controller "bay-1", which counts from 1`,
		"reader rdr-07/1 coil=65537":                   `reader "rdr-07/1": coil "65537": must be 1 to 65536 at controller "bay-1", which counts from 1`,
		"reader rdr-07/1 coil=119 behaviour=momentary": `reader "rdr-07/1": behaviour "momentary": must be one of: follows, pulse, toggle`,
		"reader rdr-07/01 coil=119":                    `reader "rdr-07/01": "01" is no index of a reader`,
		"reader rdr-99 coil=119":                       `reader "rdr-99": board "rdr-99": not in the plan`,

		"prop harbour-bell room=Lighthouse cover_mm=6 drives=light":          `prop "harbour-bell": is in the plan already`,
		"prop ship-log room=Lighthouse cover_mm=-3 drives=light":             `prop "ship-log": cover_mm "-3": must be 0 or more`,
		"prop ship-log room=Lighthouse cover_mm=6 drives=lamp":               `prop "ship-log": drives "lamp": must be one of: light, effect, door, motion`,
		"prop ship-log room=Lighthouse cover_mm=6":                           `prop "ship-log": drives: missing, give drives=light|effect|door|motion`,
		"prop ship-log room=Lighthouse cover_mm=6 drives=light board=rdr-07": `prop "ship-log": board "rdr-07": is at prop "harbour-bell"`,

		"tag copy uid=04:A1:B2:C3:D4:E5:F6 role=spare":         `tag "copy": uid: the same as that of tag "bell-clapper"`,
		"tag phone uid=08A1B2C3 role=spare":                    `tag "phone": uid: begins with 08, so the tag makes up another each time (ISO/IEC 14443-3)`,
		"tag half uid=8804A1B2 role=spare":                     `tag "half": uid: begins with 88, so it is only the first part of a longer one (ISO/IEC 14443-3)`,
		"tag odd uid=5CA91E3 role=spare":                       `tag "odd": uid: more than one reading, give it in pairs of digits`,
		"tag five uid=04A1B2C3D4 role=spare":                   `tag "five": uid: no UID of 4, 7 or 10 bytes`,
		"tag who uid=04A1B2C3 role=show":                       `tag "who": prop: missing: whose show tag it is`,
		"tag who uid=04A1B2C3 role=master":                     `tag "who": keeper: missing: who keeps the master`,
		"tag who uid=04A1B2C3 role=show prop=lost-prop":        `tag "who": prop "lost-prop": not in the plan`,
		"tag who uid=04A1B2C3 role=stranger prop=harbour-bell": `tag "who": prop "harbour-bell": a stranger belongs to no prop`,
		"board rdr-09 colour=red":                              `board "rdr-09": key "colour": not known, there are: mac, ip, gateway, controller, firmware, speed, polarity, leaving, lamps, supply_v, lists, network`,
		"board rdr-09 gatway=10.77.0.1":                        `board "rdr-09": key "gatway": not known, did you mean gateway? There are: mac, ip, gateway, controller, firmware, speed, polarity, leaving, lamps, supply_v, lists, network`,
		"board rdr-09 speed=9600 speed=9600":                   `board "rdr-09": speed: given twice`,
		"board rdr-09 mac=":                                    `board "rdr-09": mac: no value; leave the key out where nothing is planned`,
		"board rdr-09 fast":                                    `board "rdr-09": setting "fast": must have the form key=value`,
		"lamp red":                                             `kind "lamp": not known, there are: controller, board, reader, prop, tag`,
	}
	for line, want := range tests {
		t.Run(line, func(t *testing.T) {
			p, w := tidewaterPlan(t), strings.Fields(line)
			err := p.Add(plan.Kind(w[0]), w[1], w[2:]...)
			if err == nil || err.Error() != want {
				t.Errorf("error: %v\nwant:  %s", err, want)
			}
			if diff := compare(tidewaterPlan(t), p); diff != "" {
				t.Errorf("the plan after a refusal (-want +got)\n%s", diff)
			}
		})
	}
}

// What looks like a clash and is none.
func TestAddTakes(t *testing.T) {
	for _, lines := range []string{
		"controller bay-2 address=10.77.0.10 base=1 unit=2",    // a gateway with several units
		"controller bay-2 address=10.77.0.10 base=1 port=1502", // another server on the machine
		"controller bay-2 address=10.77.0.10 base=1 network=annex",
		"board rdr-09 ip=10.77.0.57/24 network=annex", // the same numbers in a separate network
		"reader rdr-07/1 coil=119",
		"controller bay-2 address=10.77.0.11 base=0; board rdr-09 controller=bay-2; reader rdr-09 coil=0; reader rdr-09/1 coil=117; reader rdr-09/2 coil=65535",
		"reader rdr-07/1 coil=65536",
		"tag spare-1 uid=5C0A91E4 role=spare; tag stranger-1 uid=5C0A91E5 role=stranger",
	} {
		p := tidewaterPlan(t)
		for line := range strings.SplitSeq(lines, "; ") {
			w := strings.Fields(line)
			if err := p.Add(plan.Kind(w[0]), w[1], w[2:]...); err != nil {
				t.Errorf("%s: %v", line, err)
			}
		}
		if err := p.Check(); err != nil {
			t.Errorf("%s: Check: %v", lines, err)
		}
	}
}

func TestCheckFindsWhatWasPutPastAdd(t *testing.T) {
	p := tidewaterPlan(t)
	if err := p.Check(); err != nil {
		t.Fatal(err)
	}
	p.Readers[1].Coil = 117
	if err := p.Check(); err == nil || !strings.Contains(err.Error(), `coil "117": taken by`) {
		t.Errorf("Check with one coil twice: %v", err)
	}
	p = tidewaterPlan(t)
	p.Props[0].Drives = "lights"
	if field, ok := errors.AsType[*plan.FieldError](p.Check()); !ok || field.Field != "drives" || field.Value != "lights" {
		t.Errorf("Check with an unknown word: %+v", field)
	}
}

func TestNotesSayWhatDeservesALook(t *testing.T) {
	p := tidewaterPlan(t)
	for _, line := range []string{
		"board rdr-09 mac=DE:AD:BE:EF:FE:ED ip=10.78.0.5/24 controller=bay-1",
		"board rdr-10 mac=00:00:5E:00:54:00 ip=169.254.1.9/16",
		"board rdr-11",
	} {
		w := strings.Fields(line)
		if err := p.Add(plan.Kind(w[0]), w[1], w[2:]...); err != nil {
			t.Fatal(err)
		}
	}
	var got []string
	for _, n := range p.Notes() {
		got = append(got, n.String())
	}
	want := []string{
		`board "rdr-09": mac de:ad:be:ef:fe:ed: the default of many examples, two such boards on one switch collide`,
		`board "rdr-09": controller "bay-1": 10.77.0.10 is outside of 10.78.0.0/24 and there is no gateway`,
		`board "rdr-10": mac 00:00:5e:00:54:00: globally administered, right only if it is the maker's own for this board`,
		`board "rdr-10": ip 169.254.1.9: link-local, which is for addresses that a device picks for itself (RFC 3927)`,
		`board "rdr-11": no mac planned, so none is checked`,
		`board "rdr-11": no ip planned, so none is checked`,
		`tag "master-1": uid of 4 bytes: not unique for sure, other tags may have the same (ISO/IEC 14443-3)`,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("notes (-want +got)\n%s", diff)
	}
}

func TestNearest(t *testing.T) {
	for word, want := range map[string]string{"bord": "board", "tags": "tag", "controler": "controller", "xyzzy": "", "": ""} {
		if got := plan.Nearest(word, []string{"controller", "board", "reader", "prop", "tag"}); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
}

// A refused addition leaves the plan alone, and one that is taken keeps it whole.
func FuzzAdd(f *testing.F) {
	f.Add("board", "rdr-09", "mac=02:54:57:00:00:59 ip=10.77.0.59/24 lamps=red,green")
	f.Add("tag", "spare-1", "uid=5C0A91E4 role=spare")
	f.Add("reader", "rdr-07/1", "coil=119 at_boot=off")
	f.Fuzz(func(t *testing.T, kind, name, settings string) {
		p := tidewaterPlan(t)
		err := p.Add(plan.Kind(kind), name, strings.Fields(settings)...)
		if err != nil {
			if diff := compare(tidewaterPlan(t), p); diff != "" {
				t.Errorf("%v, and yet (-want +got)\n%s", err, diff)
			}
			return
		}
		if err := p.Check(); err != nil {
			t.Errorf("added, and then Check: %v", err)
		}
	})
}
