package plan

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"propwright/checklist"
)

// Swap puts a board that is at no prop in the place of the one at a prop. The
// prop's numbers go over to it: the readers with their coils, the controller, and
// what of address and build settings the spare has none of its own planned for. The
// old board keeps its MAC and is at no prop.
func (p *Plan) Swap(prop, spare string) error {
	q := slices.IndexFunc(p.Props, func(q Prop) bool { return q.Name == prop })
	if q < 0 {
		return fmt.Errorf("prop %q: %w", prop, p.unknownProp(prop))
	}
	at := func(name string) int {
		return slices.IndexFunc(p.Boards, func(b Board) bool { return b.Name == name })
	}
	from, to := at(p.Props[q].Board), at(spare)
	switch {
	case from < 0:
		return fmt.Errorf("prop %q: no board is at it", prop)
	case to < 0:
		return fmt.Errorf("board %q: not in the plan", spare)
	}
	if o, taken := p.propAt(spare); taken {
		return fmt.Errorf("board %q: is at prop %q", spare, o.Name)
	}
	old, new := &p.Boards[from], &p.Boards[to]
	if old.Network != new.Network {
		return fmt.Errorf("board %q: is in network %q, the prop's board in %q", spare, new.Network, old.Network)
	}
	if !new.IP.IsValid() {
		new.IP, old.IP = old.IP, netip.Prefix{}
		new.Gateway, old.Gateway = old.Gateway, netip.Addr{}
	}
	new.Controller = old.Controller
	inherit(&new.Polarity, old.Polarity)
	inherit(&new.Leaving, old.Leaving)
	inherit(&new.Lists, old.Lists)
	if len(new.Lamps) == 0 {
		new.Lamps = slices.Clone(old.Lamps)
	}
	p.Readers = slices.DeleteFunc(p.Readers, func(r Reader) bool { return r.Board == spare })
	for i := range p.Readers {
		if p.Readers[i].Board == old.Name {
			p.Readers[i].Board = spare
		}
	}
	p.Props[q].Board = spare
	return p.Check()
}

func inherit(own *string, other string) {
	if *own == "" {
		*own = other
	}
}

// SpareItem is a spare board at a prop as a run is to judge it, before the plan has
// it there. With no spare named it is the only board that is at no prop.
func (p *Plan) SpareItem(prop, spare string) (checklist.Item, error) {
	q, ok := p.Prop(prop)
	if !ok {
		return checklist.Item{}, fmt.Errorf("prop %q: %w", prop, p.unknownProp(prop))
	}
	if spare == "" {
		var free []string
		for _, b := range p.Boards {
			if _, taken := p.propAt(b.Name); !taken {
				free = append(free, b.Name)
			}
		}
		switch len(free) {
		case 0:
			return checklist.Item{}, fmt.Errorf("swap: the plan has no board that is at no prop")
		case 1:
			spare = free[0]
		default:
			return checklist.Item{}, fmt.Errorf("swap: several boards are at no prop (%s), say which with --board", strings.Join(free, ", "))
		}
	}
	after := p.clone()
	if err := after.Swap(prop, spare); err != nil {
		return checklist.Item{}, err
	}
	it, err := after.Item(prop)
	it.Replaces = q.Board
	// What the old board has belongs to the prop, not to a stranger.
	it.Taken = slices.DeleteFunc(it.Taken, func(c checklist.Claim) bool { return c.Owner == q.Board })
	return it, err
}

// clone is a plan that can be changed without changing this one.
func (p *Plan) clone() *Plan {
	c := *p
	c.Controllers, c.Boards, c.Readers = slices.Clone(p.Controllers), slices.Clone(p.Boards), slices.Clone(p.Readers)
	c.Props, c.Tags = slices.Clone(p.Props), slices.Clone(p.Tags)
	return &c
}
