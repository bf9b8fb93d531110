package plan

import (
	"fmt"
	"strconv"
	"strings"

	"propwright/checklist"
	"propwright/parsers"
)

// Item returns the board at a prop as a run is to judge it. It needs the prop, a
// board at it and a reader on that; what else is not planned stays empty and so
// unchecked.
func (p *Plan) Item(prop string) (checklist.Item, error) {
	q, ok := p.Prop(prop)
	if !ok {
		return checklist.Item{}, fmt.Errorf("prop %q: %w", prop, p.unknownProp(prop))
	}
	if q.Board == "" {
		return checklist.Item{}, fmt.Errorf("prop %q: no board is at it", prop)
	}
	b, ok := p.Board(q.Board)
	if !ok {
		return checklist.Item{}, fmt.Errorf("prop %q: board %q: not in the plan", prop, q.Board)
	}
	it := checklist.Item{
		Site: p.Site.Name, Prop: q.Name, Room: q.Room, Place: q.Place, Drives: q.Drives, CoverMM: q.CoverMM,
		Board: boardPlan(b), Taken: p.taken(b), Tags: p.tagsFor(q),
	}
	for _, r := range p.ReadersOf(b.Name) {
		it.Readers = append(it.Readers, checklist.Reader{
			Index: r.Index, Coil: r.Coil, Behaviour: r.Behaviour, AtBoot: r.AtBoot, WhenDead: r.WhenDead, AfterReset: r.AfterReset,
		})
	}
	if len(it.Readers) == 0 {
		return checklist.Item{}, fmt.Errorf("prop %q: board %q: no reader is planned on it", prop, b.Name)
	}
	if c, ok := p.Controller(b.Controller); ok {
		it.Controller = checklist.Controller{Name: c.Name, Address: c.Address.String(), Port: c.Port, Unit: c.Unit, Base: c.Base}
	}
	return it, nil
}

func (p *Plan) unknownProp(prop string) error {
	var names []string
	for _, q := range p.Props {
		names = append(names, q.Name)
	}
	if near := Nearest(prop, names); near != "" {
		return fmt.Errorf("not in the plan, did you mean %s?", near)
	}
	return fmt.Errorf("not in the plan")
}

func boardPlan(b Board) checklist.BoardPlan {
	plan := checklist.BoardPlan{
		Asset: b.Name, Firmware: b.Firmware, Speed: b.Speed, Polarity: b.Polarity,
		Leaving: b.Leaving, Lamps: append([]string(nil), b.Lamps...), SupplyV: b.SupplyV, Lists: b.Lists,
	}
	if !b.MAC.IsZero() {
		plan.MAC = b.MAC.String()
	}
	if b.IP.IsValid() {
		plan.IP, plan.Mask = b.IP.Addr().String(), maskOf(b.IP.Bits()).String()
	}
	if b.Gateway.IsValid() {
		plan.Gateway = b.Gateway.String()
	}
	return plan
}

// taken lists the numbers that a board must not have because others have them:
// coils of its controller and unit, addresses of its network, every MAC.
func (p *Plan) taken(own Board) []checklist.Claim {
	var claims []checklist.Claim
	claim := func(setting, value, owner string) {
		claims = append(claims, checklist.Claim{Setting: setting, Value: value, Owner: owner})
	}
	for _, b := range p.Boards {
		if b.Name == own.Name {
			continue
		}
		owner := b.Name
		if q, ok := p.propAt(b.Name); ok {
			owner = q.Name
		}
		if own.Controller != "" && b.Controller == own.Controller {
			for _, r := range p.ReadersOf(b.Name) {
				claim(parsers.SettingCoil, strconv.Itoa(r.Coil), owner)
			}
		}
		if b.IP.IsValid() && b.Network == own.Network {
			claim(parsers.SettingIP, b.IP.Addr().String(), owner)
		}
		if !b.MAC.IsZero() {
			claim(parsers.SettingMAC, b.MAC.String(), owner)
		}
	}
	for _, c := range p.Controllers {
		if c.Network == own.Network {
			claim(parsers.SettingIP, c.Address.String(), c.Name)
		}
	}
	return claims
}

// tagsFor lists the tags that a run at a prop may meet: the prop's own, and the
// site's masters, strangers and common spares. Other props' tags stay out of its
// records, because a UID is a key. A lost tag is in, for it may turn up.
func (p *Plan) tagsFor(q Prop) []checklist.Tag {
	var tags []checklist.Tag
	for _, t := range p.Tags {
		if t.State == StateRetired || t.Prop != "" && t.Prop != q.Name {
			continue
		}
		whose := t.Prop
		if whose == "" {
			whose = t.Keeper
		}
		tags = append(tags, checklist.Tag{UID: t.UID.String(), Role: t.Role, Whose: whose, Form: t.Form, State: strings.ReplaceAll(t.State, "-", " ")})
	}
	return tags
}
