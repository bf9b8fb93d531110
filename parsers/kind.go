package parsers

import "slices"

// A Kind says what sort of fact an event states. The set is closed: wording
// profiles choose from it, and everything after the parser branches on it and
// never on a firmware's words.
type Kind string

// Facts that the computer itself sees of the line.
const (
	KindAttached Kind = "attached" // the port was opened; fields: port, speed
	KindDetached Kind = "detached" // the port went away or was let go; fields: why
	KindGap      Kind = "gap"      // time without an open port; fields: seconds
	KindNoise    Kind = "noise"    // bytes that are no text; fields: at ("start" soon after the port was opened or the board started)
	KindUnknown  Kind = "unknown"  // text that no wording matches
)

// Facts about the board.
const (
	KindBoot       Kind = "boot"        // the firmware starts
	KindFirmware   Kind = "firmware"    // fields: name, version
	KindResetCause Kind = "reset-cause" // fields: cause (power-on, external, brown-out, watchdog, software, unknown)
	KindSetting    Kind = "setting"     // fields: name, value; see the Setting names
	KindBoardFault Kind = "board-fault" // fields: text
)

// Facts about the reader chip.
const (
	KindReaderVersion  Kind = "reader-version"   // fields: version ("0x92")
	KindReaderSelfTest Kind = "reader-self-test" // fields: result (passed, failed, not-comparable)
	KindReaderMissing  Kind = "reader-missing"
	KindReaderError    Kind = "reader-error" // fields: text or code
)

// Facts about the stored master and list.
const (
	KindMasterMissing  Kind = "master-missing"
	KindMasterEnrolled Kind = "master-enrolled" // fields: uid
	KindProgramEnter   Kind = "program-enter"
	KindProgramExit    Kind = "program-exit"
	KindCardAdded      Kind = "card-added"   // fields: uid
	KindCardRemoved    Kind = "card-removed" // fields: uid
	KindListFull       Kind = "list-full"
	KindListWiped      Kind = "list-wiped"
)

// Facts of service.
const (
	KindTagPresent   Kind = "tag-present"   // fields: uid
	KindTagAbsent    Kind = "tag-absent"    // fields: uid where the text has one
	KindCardAccepted Kind = "card-accepted" // fields: uid
	KindCardRefused  Kind = "card-refused"  // fields: uid
)

// Facts about the network as the board tells them.
const (
	KindAddress        Kind = "address" // fields: any of ip, mask, gateway, mac
	KindLinkUp         Kind = "link-up"
	KindLinkDown       Kind = "link-down"
	KindControllerUp   Kind = "controller-up"   // fields: address
	KindControllerDown Kind = "controller-down" // fields: address
	KindCoilWritten    Kind = "coil-written"    // fields: coil, value (on, off)
	KindCoilFailed     Kind = "coil-failed"     // fields: coil, text
)

// Names that a setting event uses for what a board echoes at start. A firmware
// may echo further settings under names of its own.
const (
	SettingCoil       = "coil"       // the number as the site counts coils
	SettingMAC        = "mac"        //
	SettingIP         = "ip"         //
	SettingMask       = "mask"       //
	SettingGateway    = "gateway"    //
	SettingController = "controller" // ADDRESS or ADDRESS:PORT
	SettingUnit       = "unit"       // Modbus unit identifier
	SettingPolarity   = "polarity"   // active-high or active-low
	SettingLeaving    = "leaving"    // reported or silent
	SettingMaster     = "master"     // a UID, or "known", where the board tells of a stored master at start
	SettingCards      = "cards"      // how many cards it has stored
)

// Kinds returns every kind, host facts first, in the order of the guide.
func Kinds() []Kind {
	return []Kind{
		KindAttached, KindDetached, KindGap, KindNoise, KindUnknown,
		KindBoot, KindFirmware, KindResetCause, KindSetting, KindBoardFault,
		KindReaderVersion, KindReaderSelfTest, KindReaderMissing, KindReaderError,
		KindMasterMissing, KindMasterEnrolled, KindProgramEnter, KindProgramExit,
		KindCardAdded, KindCardRemoved, KindListFull, KindListWiped,
		KindTagPresent, KindTagAbsent, KindCardAccepted, KindCardRefused,
		KindAddress, KindLinkUp, KindLinkDown, KindControllerUp, KindControllerDown,
		KindCoilWritten, KindCoilFailed,
	}
}

// Host reports whether the kind is a fact of the computer's own, which no
// wording profile may claim.
func (k Kind) Host() bool {
	switch k {
	case KindAttached, KindDetached, KindGap, KindNoise, KindUnknown:
		return true
	}
	return false
}

// known reports whether the kind is one of Kinds.
func (k Kind) known() bool { return slices.Contains(Kinds(), k) }

// ofTag reports whether a line of the kind may name a tag.
func (k Kind) ofTag() bool {
	switch k {
	case KindMasterEnrolled, KindCardAdded, KindCardRemoved, KindTagPresent, KindTagAbsent, KindCardAccepted, KindCardRefused:
		return true
	}
	return false
}
