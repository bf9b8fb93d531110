package plan

import (
	"net/netip"
	"time"
)

func controllerKeys() []key[Controller] {
	type c = Controller
	return []key[c]{
		parsed("address", "ADDRESS", true, parseAddress, func(t *c) *netip.Addr { return &t.Address }),
		parsed("port", "PORT", false, readInt, func(t *c) *int { return &t.Port }),
		parsed("unit", "NUMBER", false, readInt, func(t *c) *int { return &t.Unit }),
		// Never by default: one off moves a neighbour's door.
		parsed("base", "0|1", true, readInt, func(t *c) *int { return &t.Base }),
		text("network", "NAME", false, func(t *c) *string { return &t.Network }),
		text("card", "TEXT", false, func(t *c) *string { return &t.Card }),
	}
}

func boardKeys() []key[Board] {
	type b = Board
	return []key[b]{
		parsed("mac", "MAC", false, ParseMAC, func(t *b) *MAC { return &t.MAC }),
		parsed("ip", "ADDRESS/BITS", false, ParseIP, func(t *b) *netip.Prefix { return &t.IP }),
		parsed("gateway", "ADDRESS", false, parseAddress, func(t *b) *netip.Addr { return &t.Gateway }),
		text("controller", "NAME", false, func(t *b) *string { return &t.Controller }),
		text("firmware", "TEXT", false, func(t *b) *string { return &t.Firmware }),
		parsed("speed", "BAUD", false, readInt, func(t *b) *int { return &t.Speed }),
		word("polarity", false, func(t *b) *string { return &t.Polarity }),
		word("leaving", false, func(t *b) *string { return &t.Leaving }),
		parsed("lamps", "NAME,NAME,…", false, readList, func(t *b) *[]string { return &t.Lamps }),
		parsed("supply_v", "VOLTS", false, readFloat, func(t *b) *float64 { return &t.SupplyV }),
		word("lists", false, func(t *b) *string { return &t.Lists }),
		text("network", "NAME", false, func(t *b) *string { return &t.Network }),
	}
}

func readerKeys() []key[Reader] {
	type r = Reader
	return []key[r]{
		parsed("coil", "NUMBER", true, readInt, func(t *r) *int { return &t.Coil }),
		word("behaviour", false, func(t *r) *string { return &t.Behaviour }),
		word("at_boot", false, func(t *r) *string { return &t.AtBoot }),
		word("when_dead", false, func(t *r) *string { return &t.WhenDead }),
		word("after_reset", false, func(t *r) *string { return &t.AfterReset }),
	}
}

func propKeys() []key[Prop] {
	type q = Prop
	return []key[q]{
		text("room", "TEXT", true, func(t *q) *string { return &t.Room }),
		text("place", "TEXT", false, func(t *q) *string { return &t.Place }),
		text("cover", "TEXT", false, func(t *q) *string { return &t.Cover }),
		parsed("cover_mm", "MILLIMETRES", true, readFloat, func(t *q) *float64 { return &t.CoverMM }),
		// Never by default: it decides what a write at a real controller may move.
		word("drives", true, func(t *q) *string { return &t.Drives }),
		text("board", "NAME", false, func(t *q) *string { return &t.Board }),
		parsed("reach", "TIME", false, readTime, func(t *q) *time.Duration { return &t.Reach }),
		parsed("open", "TIME", false, readTime, func(t *q) *time.Duration { return &t.Open }),
		text("photo", "FILE", false, func(t *q) *string { return &t.Photo }),
	}
}

func tagKeys() []key[Tag] {
	type g = Tag
	return []key[g]{
		{Key{"uid", "UID", true}, setUID},
		word("role", true, func(t *g) *string { return &t.Role }),
		text("prop", "NAME", false, func(t *g) *string { return &t.Prop }),
		text("keeper", "TEXT", false, func(t *g) *string { return &t.Keeper }),
		word("form", false, func(t *g) *string { return &t.Form }),
		word("state", false, func(t *g) *string { return &t.State }),
	}
}
