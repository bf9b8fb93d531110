package virtual

import (
	"fmt"
	"maps"
	"net/netip"
	"slices"
	"strings"

	"propwright/serialmon/clock"
)

// The styles of console text.
const (
	StylePlain      = "plain"      // English lines
	StyleConvention = "convention" // the open line convention: @KIND key=value
)

// Build is how the firmware of a board was built. The zero value stands for
// DefaultBuild.
type Build struct {
	Coil       int    // as the site counts coils, so address plus Base
	MAC        string //
	IP         string //
	Mask       string //
	Gateway    string //
	Controller string // HOST:PORT that the firmware dials
	Unit       int    // Modbus unit identifier, 0 to 255
	Base       int    // what the site's count begins with, 0 or 1
	Polarity   string // "active-high" or "active-low"
	Leaving    string // "reported" or "silent"
	Baud       int    // of the console
	// Lamps names the lamps from left to right: "red", "green" and "blue" in the
	// order in which they sit.
	Lamps []string
	Gain  int // of the reader chip's receiver, 18 to 48 dB (MFRC522 data sheet, tables 97 and 98)
	// More are the coils of further readers, from index 1 on; Coil is reader 0's.
	More []int
	// Behaviour says what a coil does with its tag: "follows", as with "", "pulse" or
	// "toggle".
	Behaviour string
	// AtBoot is what a coil does at a start with a tag lying there: "on", as with "", or
	// with "off" nothing until that tag was lifted.
	AtBoot string
	// AfterReset is what a toggled coil does when the board restarts: "off", as with "",
	// or "keeps".
	AfterReset string
	// Lists says whether the "board" keeps one master and one list of cards for all
	// its readers, as it does with "", or each "reader" its own.
	Lists string
}

// readers is how many readers the board has.
func (b Build) readers() int { return 1 + len(b.More) }

// coil is the coil of a reader.
func (b Build) coil(reader int) int {
	if reader == 0 {
		return b.Coil
	}
	return b.More[reader-1]
}

// list is the number of the list that a reader looks into.
func (b Build) list(reader int) int {
	if b.Lists == "reader" {
		return reader
	}
	return 0
}

// lists is how many lists there are.
func (b Build) lists() int { return b.list(len(b.More)) + 1 }

// mostReaders is how many readers one board can drive; its pins end there.
const mostReaders = 8

// DefaultBuild is board "rdr-07" of the demonstration site, for the prop "harbour-bell".
func DefaultBuild() Build {
	return Build{
		Coil: 117, MAC: "02:54:57:00:00:57", IP: "10.77.0.57", Mask: "255.255.255.0", Gateway: "10.77.0.1",
		Controller: "10.77.0.10:502", Unit: 1, Base: 1, Polarity: "active-high", Leaving: "reported",
		Baud: 115200, Lamps: []string{"red", "green", "blue"}, Gain: 33,
	}
}

// Check returns what is wrong with a build.
func (b Build) Check() error {
	if b.Base != 0 && b.Base != 1 {
		return fmt.Errorf("build: base %d: must be 0 or 1", b.Base)
	}
	if b.readers() > mostReaders {
		return fmt.Errorf("build: %d readers: a board drives %d at most", b.readers(), mostReaders)
	}
	for reader := range b.readers() {
		if c := b.coil(reader); c < b.Base || c-b.Base > 0xFFFF {
			return fmt.Errorf("build: coil %d: must be %d to %d", c, b.Base, 0xFFFF+b.Base)
		}
	}
	for _, w := range []struct{ name, word, of string }{
		{"lists", b.Lists, "board or reader"}, {"behaviour", b.Behaviour, "follows, pulse or toggle"},
		{"at boot", b.AtBoot, "on or off"}, {"after reset", b.AfterReset, "keeps or off"},
	} {
		words := strings.Fields(strings.NewReplacer(",", "", " or ", " ").Replace(w.of))
		if w.word != "" && !slices.Contains(words, w.word) {
			return fmt.Errorf("build: %s %q: must be %s", w.name, w.word, w.of)
		}
	}
	if b.Unit < 0 || b.Unit > 255 {
		return fmt.Errorf("build: unit %d: must be 0 to 255", b.Unit)
	}
	if b.Baud < 50 || b.Baud > 4_000_000 {
		return fmt.Errorf("build: speed %d: must be 50 to 4000000 baud", b.Baud)
	}
	if b.Gain < 18 || b.Gain > 48 {
		return fmt.Errorf("build: gain %d: must be 18 to 48 dB", b.Gain)
	}
	if _, err := netip.ParseAddrPort(b.Controller); err != nil {
		return fmt.Errorf("build: controller %q: must be ADDRESS:PORT", b.Controller)
	}
	if !slices.Contains([]string{"active-high", "active-low"}, b.Polarity) {
		return fmt.Errorf("build: polarity %q: must be active-high or active-low", b.Polarity)
	}
	if !slices.Contains([]string{"reported", "silent"}, b.Leaving) {
		return fmt.Errorf("build: leaving %q: must be reported or silent", b.Leaving)
	}
	if !slices.Equal(slices.Sorted(slices.Values(b.Lamps)), []string{"blue", "green", "red"}) {
		return fmt.Errorf("build: lamps %q: must be red, green and blue in any order", b.Lamps)
	}
	for name, text := range map[string]string{"mac": b.MAC, "ip": b.IP, "mask": b.Mask, "gateway": b.Gateway} {
		if text == "" || strings.ContainsFunc(text, func(r rune) bool { return r <= ' ' || r > '~' }) {
			return fmt.Errorf("build: %s %q: must be printable and without blanks", name, text)
		}
	}
	return nil
}

// Config says what board to make. The zero value is a healthy board on the real
// clock with nobody at its controller's address.
type Config struct {
	Clock clock.Clock // clock.Real when nil
	Seed  uint64      // of everything that is left to chance
	Fault string      // a name of Faults; "" for none
	Style string      // StylePlain when empty
	Build Build       // DefaultBuild when zero
	// Image is the path of the file that holds what the board's non-volatile memory
	// holds; with "" that is kept by the Board alone.
	Image string
	// Enrolled are the tags, by role, that each list of a fresh memory holds already:
	// the first as its master, the others as cards in this order.
	Enrolled []string
	// Controller is where the board's network really finds the controller that it
	// was planned for, as HOST:PORT; with "" nobody answers there. At any other
	// address that a fault makes the board dial nobody answers either.
	Controller string
	// Tags are the tags in reach of the hands, by role; those not named are as in
	// DefaultTags.
	Tags map[string]string
	// LockStep makes a pseudo-terminal look for openings and closings every
	// millisecond, for a host that waits for Board.Noticed.
	LockStep bool
	// CountFrames makes each connection, each request and each closing of the board's
	// end count as under way on the clock, whoever ended the connection first; the
	// controller's side lands one for each as it sees it.
	CountFrames bool
	// Silent reports whether the controller leaves requests without an answer just now.
	// With it a board on a simulated clock waits for an answer by that clock, which would
	// stand while the board listened on the network. nil: it finds out by listening.
	Silent func() bool
}

// DefaultTags are the tags in reach of the hands: role to UID. They are invented;
// their first bytes are neither a cascade tag (0x88) nor that of a random identity
// (0x08), see ISO/IEC 14443-3.
func DefaultTags() map[string]string {
	return map[string]string{
		"master": "04A1B2C3D4E5F6", "show": "5C0A91E3", "spare": "7E310B44", "stranger": "9B62F00D",
		"show-2": "5C17D0A9", "show-3": "04B95A2E6F7081",
	}
}

// tags merges the configured tags with the usual ones.
func (c Config) tags() (map[string]uid, error) {
	all := DefaultTags()
	for role, text := range c.Tags {
		all[role] = text
	}
	tags := map[string]uid{}
	for role, text := range all {
		u, err := parseUID(text)
		if err != nil {
			return nil, fmt.Errorf("tag %q: %w", role, err)
		}
		tags[role] = u
	}
	return tags, nil
}

// first is what each list of a fresh memory holds.
func (c Config) first(tags map[string]uid) (list, error) {
	if c.Fault == faultOldContents {
		return left, nil
	}
	var l list
	for i, role := range c.Enrolled {
		u, ok := tags[role]
		switch {
		case !ok:
			return l, fmt.Errorf("enrolled tag %q: must be one of %s", role, strings.Join(slices.Sorted(maps.Keys(tags)), ", "))
		case i == 0:
			l.Master = u
		default:
			l.Cards = append(l.Cards, u)
		}
	}
	return l, nil
}
