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
	Attached   Tri
	Link       Tri
	Controller Tri
	// What the board last said of a reader, or of itself where it named none.
	ReaderBelief
	readers map[int]ReaderBelief // what it said of each reader that it named

	Boots    int       // boots seen in all
	LastBoot time.Time // of the last one
	BootN    int64     // its entry

	// Settings are what the board echoed since its last boot, by setting name,
	// with the entry that says so.
	Settings map[string]Echo
	Firmware Echo
	Dialled  string // the controller address that the board last spoke of
	DialledN int64  // the entry that says so

	// Roles are the tags that the run has learned: role to UID.
	Roles map[string]string
}

// A ReaderBelief is what a reader is in, or the whole board where it keeps one
// master and one list for all its readers.
type ReaderBelief struct {
	Programming Tri
	Master      Tri // whether there is one
	MasterUID   string
	Cards       string // how many cards are said to be on the list, "" when that is not said
	TagOn       string // UID of the tag on the reader, "" when none is known to be
	Version     Echo   // of the reader chip
	SelfTest    Echo   // its result
	coil        Echo   // that is said to be the reader's
}

// of is the belief as far as it concerns one reader: where the board named that
// reader, what it said of it.
func (b Belief) of(reader int) Belief {
	r, named := b.readers[reader]
	if !named {
		return b
	}
	all := b.ReaderBelief
	b.ReaderBelief = r
	if r.Master == Unknown {
		b.Master, b.MasterUID = all.Master, all.MasterUID
	}
	if r.Cards == "" {
		b.Cards = all.Cards
	}
	if r.Programming == Unknown {
		b.Programming = all.Programming
	}
	if r.coil.N > 0 {
		b.Settings[parsers.SettingCoil] = r.coil
	}
	return b
}

// An Echo is a value that the board told, and the entry that holds it.
type Echo struct {
	Value string
	N     int64
}

// NewBelief knows nothing.
func NewBelief() Belief {
	return Belief{Settings: map[string]Echo{}, Roles: map[string]string{}, readers: map[int]ReaderBelief{}}
}

func (b Belief) clone() Belief {
	b.Settings = maps.Clone(b.Settings)
	b.Roles = maps.Clone(b.Roles)
	b.readers = maps.Clone(b.readers)
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
	b.Link, b.Controller = Unknown, Unknown
	b.ReaderBelief.forget()
	for i, r := range b.readers {
		r.forget()
		b.readers[i] = r
	}
}

func (r *ReaderBelief) forget() { r.Programming, r.TagOn = Unknown, "" }

func (b *Belief) foldEvent(n int64, e *parsers.Event) {
	b.ReaderBelief.fold(n, e)
	if e.Reader != parsers.NoReader {
		r := b.readers[e.Reader]
		r.fold(n, e)
		b.readers[e.Reader] = r
	} else {
		for i, r := range b.readers { // it may be said of any of them
			r.fold(n, e)
			b.readers[i] = r
		}
	}
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

// fold takes in what an event says of a reader, or of the board's master and cards.
func (r *ReaderBelief) fold(n int64, e *parsers.Event) {
	switch e.Kind {
	case parsers.KindReaderVersion:
		r.Version = Echo{e.Field("version"), n}
	case parsers.KindReaderSelfTest:
		r.SelfTest = Echo{e.Field("result"), n}
	case parsers.KindMasterMissing:
		r.Master, r.MasterUID = No, ""
	case parsers.KindMasterEnrolled:
		r.Master, r.MasterUID = Yes, uidOf(e)
	case parsers.KindProgramEnter:
		r.Programming = Yes
	case parsers.KindProgramExit:
		r.Programming = No
	case parsers.KindTagPresent, parsers.KindCardAccepted, parsers.KindCardRefused:
		r.TagOn = uidOf(e)
	case parsers.KindTagAbsent:
		r.TagOn = ""
	case parsers.KindSetting:
		switch e.Field("name") {
		case parsers.SettingMaster:
			r.Master, r.MasterUID = Yes, e.Field("value")
		case parsers.SettingCards:
			r.Cards = e.Field("value")
		case parsers.SettingCoil:
			r.coil = Echo{e.Field("value"), n}
		}
	}
}

func (b *Belief) boot(n int64, e *parsers.Event) {
	b.Boots++
	b.LastBoot, b.BootN = e.First, n
	b.Settings = map[string]Echo{}
	b.Link, b.Controller = Unknown, No
	b.ReaderBelief = ReaderBelief{Programming: No}
	for i := range b.readers {
		b.readers[i] = ReaderBelief{Programming: No}
	}
}

func (b *Belief) setting(name, value string, n int64) {
	b.Settings[name] = Echo{value, n}
}
