package checklist

import (
	"maps"
	"strings"
	"time"

	"propwright/parsers"
)

// A Tri is yes, no or not known.
type Tri int

// The three values; the zero value is Unknown.
const (
	Unknown Tri = iota
	No
	Yes
)

// A Belief is what the board is in now, as far as the log tells. It is a fold
// over the entries and holds nothing that they do not.
type Belief struct {
	Attached    Tri
	Programming Tri
	Link        Tri
	Controller  Tri
	Master      Tri // whether the board has one

	MasterUID string
	Cards     string // how many cards it says it has, "" when it does not say
	TagOn     string // UID of the tag on the reader, "" when none is known to be

	Boots    int       // boots seen in all
	LastBoot time.Time // of the last one
	BootN    int64     // its entry

	// Settings are what the board echoed since its last boot, by setting name,
	// with the entry that says so.
	Settings map[string]Echo
	Firmware Echo
	Version  Echo   // of the reader chip
	SelfTest Echo   // its result
	Dialled  string // the controller address that the board last spoke of
	DialledN int64  // the entry that says so

	// Roles are the tags that the run has learned: role to UID.
	Roles map[string]string
}

// An Echo is a value that the board told, and the entry that holds it.
type Echo struct {
	Value string
	N     int64
}

// NewBelief knows nothing.
func NewBelief() Belief {
	return Belief{Settings: map[string]Echo{}, Roles: map[string]string{}}
}

func (b Belief) clone() Belief {
	b.Settings = maps.Clone(b.Settings)
	b.Roles = maps.Clone(b.Roles)
	return b
}

// RoleOf returns the role that a tag was learned in, "" when none.
func (b Belief) RoleOf(uid string) string {
	for role, known := range b.Roles {
		if known == uid {
			return role
		}
	}
	return ""
}

// Fold takes one more entry into account.
func (b *Belief) Fold(e Entry) {
	switch {
	case e.Event != nil:
		b.foldEvent(e.N, e.Event)
	case e.Measure != nil && e.Measure.Name == measureRole:
		b.Roles[e.Measure.Params["role"]] = e.Measure.Params["uid"]
	case e.Type == EntryRun && e.Run.Resumed:
		b.forget()
		b.Attached = No
	}
}

// forget drops what can have changed while nobody was listening. What a board
// stores stays believed: the steps look at its next boot text for that.
func (b *Belief) forget() {
	b.Programming, b.Link, b.Controller, b.TagOn = Unknown, Unknown, Unknown, ""
}

func (b *Belief) foldEvent(n int64, e *parsers.Event) {
	switch e.Kind {
	case parsers.KindAttached:
		b.Attached = Yes
	case parsers.KindDetached, parsers.KindGap:
		b.forget()
		if e.Kind == parsers.KindDetached {
			b.Attached = No
		}
	case parsers.KindBoot:
		b.boot(n, e)
	case parsers.KindFirmware:
		b.Firmware = Echo{strings.TrimSpace(e.Field("name") + " " + e.Field("version")), n}
	case parsers.KindSetting:
		b.setting(e.Field("name"), e.Field("value"), n)
	case parsers.KindAddress:
		for _, name := range []string{parsers.SettingIP, parsers.SettingMask, parsers.SettingGateway, parsers.SettingMAC} {
			if v := e.Field(name); v != "" {
				b.setting(name, v, n)
			}
		}
	case parsers.KindReaderVersion:
		b.Version = Echo{e.Field("version"), n}
	case parsers.KindReaderSelfTest:
		b.SelfTest = Echo{e.Field("result"), n}
	case parsers.KindMasterMissing:
		b.Master, b.MasterUID = No, ""
	case parsers.KindMasterEnrolled:
		b.Master, b.MasterUID = Yes, uidOf(e)
	case parsers.KindProgramEnter:
		b.Programming = Yes
	case parsers.KindProgramExit:
		b.Programming = No
	case parsers.KindTagPresent, parsers.KindCardAccepted, parsers.KindCardRefused:
		b.TagOn = uidOf(e)
	case parsers.KindTagAbsent:
		b.TagOn = ""
	case parsers.KindLinkUp:
		b.Link = Yes
	case parsers.KindLinkDown:
		b.Link, b.Controller = No, No
	case parsers.KindControllerUp, parsers.KindControllerDown:
		b.Controller = No
		if e.Kind == parsers.KindControllerUp {
			b.Controller = Yes
		}
		if a := e.Field("address"); a != "" {
			b.Dialled, b.DialledN = a, n
		}
	}
}

func (b *Belief) boot(n int64, e *parsers.Event) {
	b.Boots++
	b.LastBoot, b.BootN = e.First, n
	b.Settings = map[string]Echo{}
	b.Master, b.MasterUID, b.Cards = Unknown, "", ""
	b.Programming, b.Link, b.Controller, b.TagOn = No, Unknown, No, ""
	b.Version, b.SelfTest = Echo{}, Echo{}
}

func (b *Belief) setting(name, value string, n int64) {
	switch name {
	case parsers.SettingMaster:
		b.Master, b.MasterUID = Yes, value
	case parsers.SettingCards:
		b.Cards = value
	}
	b.Settings[name] = Echo{value, n}
}
