package store

import (
	"database/sql"
	"fmt"
	"net/netip"
	"strings"
	"time"

	"propwright/checklist/plan"
	"propwright/parsers"
)

func controllers() table[plan.Controller] {
	return table[plan.Controller]{
		name: "controller", key: []string{"name"},
		columns: []string{"name", "network", "card", "address", "port", "unit", "base"},
		id:      func(c plan.Controller) string { return c.Name },
		values: func(c plan.Controller) []any {
			return []any{c.Name, c.Network, c.Card, c.Address.String(), c.Port, c.Unit, c.Base}
		},
		scan: func(row scanner) (c plan.Controller, err error) {
			var address string
			if err = row.Scan(&c.Name, &c.Network, &c.Card, &address, &c.Port, &c.Unit, &c.Base); err != nil {
				return c, err
			}
			c.Address, err = netip.ParseAddr(address)
			return c, err
		},
	}
}

func boards() table[plan.Board] {
	return table[plan.Board]{
		name: "board", key: []string{"name"},
		columns: []string{"name", "network", "mac", "ip", "ip_bits", "gateway", "controller",
			"firmware", "speed", "polarity", "leaving", "lamps", "supply_v", "lists"},
		id: func(b plan.Board) string { return b.Name },
		values: func(b plan.Board) []any {
			var mac, ip, bits, gateway any
			if !b.MAC.IsZero() {
				mac = b.MAC.String()
			}
			if b.IP.IsValid() {
				ip, bits = b.IP.Addr().String(), b.IP.Bits()
			}
			if b.Gateway.IsValid() {
				gateway = b.Gateway.String()
			}
			return []any{b.Name, b.Network, mac, ip, bits, gateway, orNull(b.Controller),
				b.Firmware, b.Speed, b.Polarity, b.Leaving, strings.Join(b.Lamps, ","), b.SupplyV, b.Lists}
		},
		scan: scanBoard,
	}
}

func scanBoard(row scanner) (b plan.Board, err error) {
	var mac, ip, gateway, controller sql.Null[string]
	var bits sql.Null[int]
	var lamps string
	if err = row.Scan(&b.Name, &b.Network, &mac, &ip, &bits, &gateway, &controller,
		&b.Firmware, &b.Speed, &b.Polarity, &b.Leaving, &lamps, &b.SupplyV, &b.Lists); err != nil {
		return b, err
	}
	b.Controller = controller.V
	if lamps != "" {
		b.Lamps = strings.Split(lamps, ",")
	}
	if err = b.MAC.UnmarshalText([]byte(mac.V)); err != nil {
		return b, err
	}
	if ip.Valid {
		a, err := netip.ParseAddr(ip.V)
		if err != nil {
			return b, err
		}
		b.IP = netip.PrefixFrom(a, bits.V)
	}
	if gateway.Valid {
		b.Gateway, err = netip.ParseAddr(gateway.V)
	}
	return b, err
}

// readers needs the plan that the readers are part of: whose controller a board
// writes to is the board's to say.
func readers(p plan.Plan) table[plan.Reader] {
	return table[plan.Reader]{
		name: "reader", key: []string{"board", "idx"},
		columns: []string{"board", "idx", "controller", "coil", "behaviour", "at_boot", "when_dead", "after_reset"},
		id:      plan.Reader.Name,
		values: func(r plan.Reader) []any {
			b, _ := p.Board(r.Board)
			return []any{r.Board, r.Index, orNull(b.Controller), r.Coil, r.Behaviour, r.AtBoot, r.WhenDead, r.AfterReset}
		},
		scan: func(row scanner) (r plan.Reader, err error) {
			var controller string
			err = row.Scan(&r.Board, &r.Index, &controller, &r.Coil, &r.Behaviour, &r.AtBoot, &r.WhenDead, &r.AfterReset)
			return r, err
		},
	}
}

func props() table[plan.Prop] {
	return table[plan.Prop]{
		name: "prop", key: []string{"name"},
		columns: []string{"name", "room", "place", "cover", "cover_mm", "drives", "board", "reach_ns", "open_ns", "photo"},
		id:      func(q plan.Prop) string { return q.Name },
		values: func(q plan.Prop) []any {
			return []any{q.Name, q.Room, q.Place, q.Cover, q.CoverMM, q.Drives, orNull(q.Board), int64(q.Reach), int64(q.Open), q.Photo}
		},
		scan: func(row scanner) (q plan.Prop, err error) {
			var board sql.Null[string]
			var reach, open int64
			err = row.Scan(&q.Name, &q.Room, &q.Place, &q.Cover, &q.CoverMM, &q.Drives, &board, &reach, &open, &q.Photo)
			q.Board, q.Reach, q.Open = board.V, time.Duration(reach), time.Duration(open)
			return q, err
		},
	}
}

func tags() table[plan.Tag] {
	return table[plan.Tag]{
		name: "tag", key: []string{"name"},
		columns: []string{"name", "uid", "role", "prop", "keeper", "form", "state"},
		id:      func(t plan.Tag) string { return t.Name },
		values: func(t plan.Tag) []any {
			return []any{t.Name, t.UID.String(), t.Role, orNull(t.Prop), t.Keeper, t.Form, t.State}
		},
		scan: func(row scanner) (t plan.Tag, err error) {
			var uid string
			var prop sql.Null[string]
			if err = row.Scan(&t.Name, &uid, &t.Role, &prop, &t.Keeper, &t.Form, &t.State); err != nil {
				return t, err
			}
			t.Prop = prop.V
			t.UID, err = parsers.ParseUID(uid)
			return t, err
		},
	}
}

func service() table[plan.ServiceEntry] {
	return table[plan.ServiceEntry]{
		name: "service", key: []string{"n"},
		columns: []string{"n", "prop", "at", "kind", "text", "by_whom", "board", "report"},
		id:      func(e plan.ServiceEntry) string { return fmt.Sprintf("%010d", e.Number) },
		values: func(e plan.ServiceEntry) []any {
			return []any{e.Number, e.Prop, e.At.UTC().Format(time.RFC3339), string(e.Kind), e.Text, e.By, e.Board, e.Report}
		},
		scan: func(row scanner) (e plan.ServiceEntry, err error) {
			var at string
			if err = row.Scan(&e.Number, &e.Prop, &at, &e.Kind, &e.Text, &e.By, &e.Board, &e.Report); err != nil {
				return e, err
			}
			e.At, err = time.Parse(time.RFC3339, at)
			return e, err
		},
	}
}
