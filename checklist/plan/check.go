package plan

import (
	"math"
	"net/netip"
	"slices"
	"time"
)

// maxCoils is how many coils a Modbus server can have (Modbus Application
// Protocol V1.1b3, 4.4: addresses 0 to 65535).
const maxCoils = 65536

// The check methods hold a thing against the rules that need nothing else.

func (c Controller) check() error {
	if err := first(checkName("name", c.Name), checkName("network", c.Network), checkText("card", c.Card)); err != nil {
		return err
	}
	if !c.Address.IsValid() {
		return bad("address", "", "missing")
	}
	if err := deviceAddress(c.Address); err != nil {
		return &FieldError{"address", c.Address.String(), err}
	}
	return first(
		checkRange("port", c.Port, 1, 65535),
		checkRange("unit", c.Unit, 0, 255), // one byte in the header
		checkRange("base", c.Base, 0, 1),
	)
}

func (b Board) check() error {
	return first(
		checkName("name", b.Name), checkName("network", b.Network), b.checkMAC(), b.checkIP(), b.checkGateway(),
		checkText("firmware", b.Firmware),
		checkRange("speed", b.Speed, 50, 4000000),
		checkWord("polarity", b.Polarity, false), checkWord("leaving", b.Leaving, false), checkWord("lists", b.Lists, false),
		b.checkLamps(), b.checkSupply(),
	)
}

func (b Board) checkMAC() error {
	switch {
	case b.MAC.Group():
		return bad("mac", b.MAC, "a group address, which no board can have (the first byte is odd)")
	case b.MAC.Documentation():
		return bad("mac", b.MAC, "for documentation and not for devices (RFC 9542)")
	}
	return nil
}

func (b Board) checkIP() error {
	if !b.IP.IsValid() {
		return nil
	}
	if b.IP.Bits() < 1 || b.IP.Bits() > 31 {
		return bad("ip", b.IP, "network length must be 1 to 31")
	}
	if err := hostAddress(b.IP); err != nil {
		return &FieldError{"ip", b.IP.Addr().String(), err}
	}
	return nil
}

func (b Board) checkGateway() error {
	switch {
	case !b.Gateway.IsValid():
		return nil
	case !b.IP.IsValid():
		return bad("gateway", b.Gateway, "a board without an ip has no gateway")
	case !b.IP.Contains(b.Gateway):
		return bad("gateway", b.Gateway, "outside of the board's network %v", b.IP.Masked())
	case b.Gateway == b.IP.Addr():
		return bad("gateway", b.Gateway, "the board's own address")
	}
	if err := hostAddress(netip.PrefixFrom(b.Gateway, b.IP.Bits())); err != nil {
		return &FieldError{"gateway", b.Gateway.String(), err}
	}
	return nil
}

func (b Board) checkLamps() error {
	if err := checkRange("lamps", len(b.Lamps), 0, 8); err != nil {
		return err
	}
	for i, lamp := range b.Lamps {
		if err := checkName("lamps", lamp); err != nil {
			return err
		}
		if slices.Contains(b.Lamps[:i], lamp) {
			return bad("lamps", lamp, "twice")
		}
	}
	return nil
}

// checkSupply bounds the adapter's voltage: below is no supply for a board, above
// is no longer extra-low voltage that this trade handles (common practice, no
// source).
func (b Board) checkSupply() error {
	if !(b.SupplyV >= 1 && b.SupplyV <= 60) {
		return bad("supply_v", b.SupplyV, "must be 1 to 60")
	}
	return nil
}

func (r Reader) check() error {
	return first(
		checkName("board", r.Board), checkRange("index", r.Index, 0, 15),
		checkWord("behaviour", r.Behaviour, true), checkWord("at_boot", r.AtBoot, false),
		checkWord("when_dead", r.WhenDead, false), checkWord("after_reset", r.AfterReset, false),
	)
}

func (q Prop) check() error {
	if err := first(
		checkName("name", q.Name), checkText("room", q.Room), checkText("place", q.Place), checkText("cover", q.Cover),
		checkWord("drives", q.Drives, true), checkText("photo", q.Photo),
		checkTime("reach", q.Reach), checkTime("open", q.Open),
	); err != nil {
		return err
	}
	switch {
	case q.Room == "":
		return bad("room", "", "missing")
	case !(q.CoverMM >= 0) || math.IsInf(q.CoverMM, 0):
		return bad("cover_mm", q.CoverMM, "must be 0 or more")
	case q.CoverMM > 1000:
		return bad("cover_mm", q.CoverMM, "must be 1000 or less")
	}
	return nil
}

func checkTime(field string, d time.Duration) error {
	if d < 0 || d > 24*time.Hour {
		return bad(field, d, "must be 0s to 24h")
	}
	return nil
}

func (t Tag) check() error {
	if err := first(
		checkName("name", t.Name), t.checkUID(),
		checkWord("role", t.Role, true), checkWord("form", t.Form, false), checkWord("state", t.State, true),
		checkText("keeper", t.Keeper),
	); err != nil {
		return err
	}
	switch {
	case t.Role == "show" && t.Prop == "":
		return bad("prop", "", "missing: whose show tag it is")
	case t.Role == "master" && t.Keeper == "":
		return bad("keeper", "", "missing: who keeps the master")
	case t.Role != "show" && t.Role != "spare" && t.Prop != "":
		return bad("prop", t.Prop, "a %s belongs to no prop", t.Role)
	}
	return nil
}

// checkUID refuses what names no tag for good. The messages do not repeat the
// UID, which is a key.
func (t Tag) checkUID() error {
	switch u := t.UID; {
	case u.Ambiguous():
		return bad("uid", "", "more than one reading, give it in pairs of digits")
	case u.Len() == 0:
		return bad("uid", "", "missing")
	case u.Random():
		return bad("uid", "", "begins with 08, so the tag makes up another each time (ISO/IEC 14443-3)")
	case u.Truncated():
		return bad("uid", "", "begins with 88, so it is only the first part of a longer one (ISO/IEC 14443-3)")
	}
	return nil
}
