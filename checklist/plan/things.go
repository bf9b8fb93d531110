package plan

import (
	"net/netip"
	"time"

	"propwright/parsers"
)

// A Kind is a kind of thing that a plan holds.
type Kind string

// The kinds of thing.
const (
	KindController Kind = "controller"
	KindBoard      Kind = "board"
	KindReader     Kind = "reader"
	KindProp       Kind = "prop"
	KindTag        Kind = "tag"
)

// Kinds returns every kind in the order in which things rest on each other.
func Kinds() []Kind {
	return []Kind{KindController, KindBoard, KindReader, KindProp, KindTag}
}

// DefaultNetwork is the network of a thing for which none is named. A site that
// uses the same addresses in separate networks gives each a name.
const DefaultNetwork = "main"

// A Controller is where coils live: one Modbus server as one network reaches it.
type Controller struct {
	Name    string     `json:"name"`
	Network string     `json:"network"`
	Card    string     `json:"card,omitempty"` // which of its network cards, "" where it has one
	Address netip.Addr `json:"address"`
	Port    int        `json:"port"`
	Unit    int        `json:"unit"` // Modbus unit identifier, 0 to 255
	Base    int        `json:"base"` // number of the first coil, 0 or 1
}

// A Board is a microcontroller with its network chip. Its name is its asset
// number. It moves between props; what was recorded about it stays.
type Board struct {
	Name       string       `json:"name"`
	Network    string       `json:"network"`
	MAC        MAC          `json:"mac,omitzero"`     // zero when not planned
	IP         netip.Prefix `json:"ip,omitzero"`      // its address and its network's length; zero when not planned
	Gateway    netip.Addr   `json:"gateway,omitzero"` // zero when there is none
	Controller string       `json:"controller,omitempty"`
	Firmware   string       `json:"firmware,omitempty"`
	Speed      int          `json:"speed"`              // of the console, baud
	Polarity   string       `json:"polarity,omitempty"` // of the lamps: active-high or active-low
	Leaving    string       `json:"leaving,omitempty"`  // a tag's leaving: reported or silent
	Lamps      []string     `json:"lamps,omitempty"`    // what each lamp is, from left to right
	SupplyV    float64      `json:"supply_v"`           // of its adapter, volts
	Lists      string       `json:"lists,omitempty"`    // master and cards are kept by the board, or by each reader
}

// A Reader is one reader of a board and the coil that it drives.
type Reader struct {
	Board     string `json:"board"`
	Index     int    `json:"index"`             // 0 where the board has one reader
	Coil      int    `json:"coil"`              // as the site counts, from the controller's base
	Behaviour string `json:"behaviour"`         // follows, pulse or toggle
	AtBoot    string `json:"at_boot,omitempty"` // the coil at boot with a tag lying there: on or off
	// WhenDead is what becomes of a coil that is on when its board dies: stays or off.
	WhenDead string `json:"when_dead,omitempty"`
	// AfterReset is what becomes of a toggled coil when its board restarts: keeps or off.
	AfterReset string `json:"after_reset,omitempty"`
}

// A Prop is what players touch.
type Prop struct {
	Name    string        `json:"name"`
	Room    string        `json:"room"`
	Place   string        `json:"place,omitempty"`
	Cover   string        `json:"cover,omitempty"` // what lies between tag and reader
	CoverMM float64       `json:"cover_mm"`
	Drives  string        `json:"drives"` // what the coil moves: light, effect, door or motion
	Board   string        `json:"board,omitempty"`
	Reach   time.Duration `json:"reach_ns,omitempty"` // to get there
	Open    time.Duration `json:"open_ns,omitempty"`  // to open it
	Photo   string        `json:"photo,omitempty"`    // a file in the site's folder
}

// A Tag is a tag that the site knows by its UID.
type Tag struct {
	Name   string      `json:"name"`
	UID    parsers.UID `json:"uid"`
	Role   string      `json:"role"`             // show, spare, master or stranger
	Prop   string      `json:"prop,omitempty"`   // whose it is
	Keeper string      `json:"keeper,omitempty"` // who keeps it, for a master
	Form   string      `json:"form,omitempty"`   // card, fob or sticker
	State  string      `json:"state"`            // in-use, lost or retired
}

// The states of a tag.
const (
	StateInUse   = "in-use"
	StateLost    = "lost"
	StateRetired = "retired"
)

// words returns what a field of fixed words may hold.
func words(field string) []string {
	switch field {
	case "polarity":
		return []string{"active-high", "active-low"}
	case "leaving":
		return []string{"reported", "silent"}
	case "behaviour":
		return []string{"follows", "pulse", "toggle"}
	case "at_boot":
		return []string{"on", "off"}
	case "when_dead":
		return []string{"stays", "off"}
	case "after_reset":
		return []string{"keeps", "off"}
	case "lists":
		return []string{"board", "reader"}
	case "drives":
		return []string{"light", "effect", "door", "motion"}
	case "role":
		return []string{"show", "spare", "master", "stranger"}
	case "form":
		return []string{"card", "fob", "sticker"}
	case "state":
		return []string{StateInUse, StateLost, StateRetired}
	}
	return nil
}
