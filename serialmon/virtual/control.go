package virtual

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// The things that hands and eyes can do; Request.Op is one of them.
const (
	OpPlace  = "place"  // lay the tag of Role, or with UID, at SpacingMM before the reader
	OpTake   = "take"   // lift every tag
	OpFlex   = "flex"   // with On bend the reader board, else let it go
	OpCable  = "cable"  // with In put the network cable in, else pull it
	OpSupply = "supply" // with On switch the board's own supply on, else off
	OpUSB    = "usb"    // with In plug USB in, else out
	OpRoom   = "room"   // with On switch all power of the room on, else off
	OpReset  = "reset"  // press the board's button
	OpLamps  = "lamps"  // look at the lamps
	// OpReflash gives the board new firmware over its USB: version Firmware, built with
	// Settings where they differ, and with Wipe without what the lists held. It needs the
	// port for itself.
	OpReflash = "reflash"
)

// A Request is one thing to do.
type Request struct {
	Op        string  `json:"op"`
	Role      string  `json:"role,omitempty"`
	UID       string  `json:"uid,omitempty"`
	SpacingMM float64 `json:"spacing_mm,omitempty"` // from the reader's face, 0 to 1000
	Reader    int     `json:"reader,omitempty"`     // to place a tag at, or whose board to flex
	On        *bool   `json:"on,omitempty"`
	In        *bool   `json:"in,omitempty"`
	// Of OpReflash.
	Firmware string            `json:"firmware,omitempty"`
	Settings map[string]string `json:"settings,omitempty"` // by the names that the board echoes
	Wipe     bool              `json:"wipe,omitempty"`
}

// A Reply is what came of it: nothing, what an eye saw, or why it was not done.
type Reply struct {
	// Lamps are what an eye sees in a second and a half, from left to right: "dark",
	// "lit" or "blinking".
	Lamps []string `json:"lamps,omitempty"`
	Error string   `json:"error,omitempty"`
}

// Do does what hands and eyes can do. Its error says why a request was not done;
// the reply is then empty. A tag that lies there is lifted before another is
// placed.
func (b *Board) Do(r Request) (Reply, error) {
	switch r.Op {
	case OpPlace:
		return Reply{}, b.doPlace(r)
	case OpUSB:
		in, err := flag("in", r.In)
		if err != nil {
			return Reply{}, err
		}
		return Reply{}, b.setUSB(in)
	case OpFlex, OpSupply, OpCable, OpRoom:
		return Reply{}, b.doSwitch(r)
	}
	b.mu.Lock()
	defer b.unlock()
	switch r.Op {
	case OpTake:
		for i := range b.hands {
			b.hands[i].tag = ""
		}
	case OpReset:
		b.reset(causeReset)
	case OpReflash:
		return Reply{}, b.reflash(r)
	case OpLamps:
		return Reply{Lamps: b.lamps.seen(b.clock.Now())}, nil
	default:
		return Reply{}, fmt.Errorf("op %q: must be one of %s", r.Op, strings.Join([]string{
			OpPlace, OpTake, OpFlex, OpCable, OpSupply, OpRoom, OpUSB, OpReset, OpLamps, OpReflash}, ", "))
	}
	return Reply{}, nil
}

func (b *Board) doPlace(r Request) error {
	if err := b.checkReader(r.Reader); err != nil {
		return err
	}
	if !(r.SpacingMM >= 0 && r.SpacingMM <= 1000) || math.IsNaN(r.SpacingMM) {
		return fmt.Errorf("spacing_mm %g: must be 0 to 1000", r.SpacingMM)
	}
	u, ok := b.tags[r.Role]
	switch {
	case r.UID != "" && r.Role != "":
		return fmt.Errorf("role %q and uid %q: only one of them", r.Role, r.UID)
	case r.UID != "":
		var err error
		if u, err = parseUID(r.UID); err != nil {
			return err
		}
	case !ok:
		return fmt.Errorf("role %q: must be one of %s", r.Role, strings.Join(slices.Sorted(maps.Keys(b.tags)), ", "))
	}
	b.mu.Lock()
	defer b.unlock()
	b.place(r.Reader, u, r.SpacingMM)
	return nil
}

func (b *Board) checkReader(reader int) error {
	if n := b.cfg.Build.readers(); reader < 0 || reader >= n {
		return fmt.Errorf("reader %d: this board has %d, from 0 on", reader, n)
	}
	return nil
}

func (b *Board) doSwitch(r Request) error {
	name, given := "on", r.On
	if r.Op == OpCable {
		name, given = "in", r.In
	}
	is, err := flag(name, given)
	if err = errors.Join(err, b.checkReader(r.Reader)); err != nil {
		return err
	}
	b.mu.Lock()
	defer b.unlock()
	if b.closed {
		return nil
	}
	switch r.Op {
	case OpFlex:
		b.flexed = noReader
		if is {
			b.flexed, b.hands[r.Reader].flexRead = r.Reader, false
		}
	case OpCable:
		b.setCable(is)
	case OpSupply:
		b.setSupply(is)
	case OpRoom:
		b.setRoom(is)
	}
	return nil
}

// flag is a member that must be there.
func flag(name string, given *bool) (bool, error) {
	if given == nil {
		return false, fmt.Errorf("member %q: missing", name)
	}
	return *given, nil
}
