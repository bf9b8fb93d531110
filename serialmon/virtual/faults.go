package virtual

import (
	"fmt"
	"strings"
)

// A Fault is one way in which a board can be wrong.
type Fault struct {
	Name string // as in Config.Fault
	What string // what is wrong, one line
}

// The names of the faults.
const (
	faultReaderZero      = "reader-zero"
	faultReaderOnes      = "reader-ones"
	faultLooseJoint      = "loose-joint"
	faultCloneChip       = "clone-chip"
	faultBrownOut        = "brown-out"
	faultWrongSpeed      = "wrong-speed"
	faultOldContents     = "old-contents"
	faultCoilTaken       = "coil-taken"
	faultSettingsSilent  = "settings-silent"
	faultLightsInverted  = "lights-inverted"
	faultMasterLost      = "master-lost"
	faultStuckProgram    = "stuck-programming"
	faultLastCardLost    = "last-card-lost"
	faultCardsStay       = "cards-stay"
	faultFlicker         = "flicker"
	faultShortRange      = "short-range"
	faultNoCable         = "no-cable"
	faultWrongController = "wrong-controller"
	faultCoilPlusOne     = "coil-plus-one"
	faultCoilStaysOn     = "coil-stays-on"
	faultSlowCoil        = "slow-coil"
	faultNoReconnect     = "no-reconnect"
	faultMisses          = "misses"
	faultWeakAdapter     = "weak-adapter"
	faultColdStart       = "cold-start"
	faultReadersCrossed  = "readers-crossed"
	faultGivesUpEarly    = "gives-up-early"
	faultCoilMinusOne    = "coil-minus-one"
	faultWrongUnit       = "wrong-unit"
	faultWrongFunction   = "wrong-function"
	faultCoilInverted    = "coil-inverted"
	faultWritesTwice     = "writes-twice"
	faultWritesLost      = "writes-lost"
	faultSaysNothing     = "connected-silent"
	faultShieldMissing   = "shield-missing"
	faultLinkFlaps       = "link-flaps"
	faultWrongMask       = "wrong-mask"
	faultSocketsLeak     = "sockets-leak"
	faultConnectResets   = "connect-resets"
)

// Faults lists every fault that a board can have, those first that a
// commissioning meets first.
func Faults() []Fault {
	return []Fault{
		{faultReaderZero, "the reader chip answers with zeros: a data pin is not soldered"},
		{faultReaderOnes, "the reader chip answers with ones: no supply at the chip, or the bus is stuck"},
		{faultLooseJoint, "a header pin is only pushed in: the chip answers now and then, less when the board is bent"},
		{faultCloneChip, "a compatible chip of another maker that reads tags well"},
		{faultBrownOut, "the supply collapses: the board restarts every two seconds"},
		{faultWrongSpeed, "the firmware prints at 9600 baud"},
		{faultOldContents, "the memory still holds another prop's master and cards"},
		{faultCoilTaken, "the firmware was built with a neighbour's coil"},
		{faultSettingsSilent, "the firmware does not print its coil and how it tells that a tag has left"},
		{faultLightsInverted, "the lamps are wired for the other polarity"},
		{faultMasterLost, "the master is not kept over a reset"},
		{faultStuckProgram, "the master begins programming mode but does not end it"},
		{faultLastCardLost, "the card added last is not found until another is added"},
		{faultCardsStay, "a removed card is still accepted"},
		{faultFlicker, "a tag that lies still is lost and found again every second or two"},
		{faultShortRange, "tags are read to a few millimetres only"},
		{faultNoCable, "the network has no link"},
		{faultWrongController, "the firmware was built with another controller's address, and does not print it"},
		{faultCoilPlusOne, "the firmware takes a coil's number for its address"},
		{faultCoilStaysOn, "the coil is switched on but never off"},
		{faultSlowCoil, "the coil follows the tag more than a second late"},
		{faultNoReconnect, "once the cable was out, the controller is not dialled again before a reset"},
		{faultMisses, "three presentations in ten are missed, unless the tag touches the reader"},
		{faultWeakAdapter, "the board's own supply collapses when the radio comes on; on USB all is well"},
		{faultColdStart, "four starts in ten on the own supply hang before the network is up"},
		{faultReadersCrossed, "of several readers the first two are exchanged: a tag on one shows as the other's"},
		{faultGivesUpEarly, "the firmware looks for its network at the start only, and gives up before the room's switch is ready"},
		{faultCoilMinusOne, "the firmware takes one off a coil's number twice"},
		{faultWrongUnit, "the firmware asks for another unit id than planned, and prints the planned one"},
		{faultWrongFunction, "the firmware writes a register where a coil is meant"},
		{faultCoilInverted, "the coil goes off when the tag comes and on when it leaves"},
		{faultWritesTwice, "each write is sent twice"},
		{faultWritesLost, "every second write to switch on is told and never sent"},
		{faultSaysNothing, "the controller is dialled and never written to"},
		{faultShieldMissing, "the firmware does not find its network shield"},
		{faultLinkFlaps, "the link is lost and found again every few seconds"},
		{faultWrongMask, "the firmware was built with a mask that leaves the controller out"},
		{faultSocketsLeak, "the firmware connects anew again and again and frees no socket: after four there are no more"},
		{faultConnectResets, "the board starts anew whenever it has connected"},
	}
}

// LeastReaders is how many readers a board must have to show a fault.
func LeastReaders(fault string) int {
	if fault == faultReadersCrossed {
		return 2
	}
	return 1
}

// checkFault returns an error that lists the names when there is no such fault.
func checkFault(name string) error {
	var names []string
	for _, f := range Faults() {
		if f.Name == name {
			return nil
		}
		names = append(names, f.Name)
	}
	if name == "" {
		return nil
	}
	return fmt.Errorf("fault %q: must be one of %s", name, strings.Join(names, ", "))
}
