package plan

import (
	"fmt"
	"slices"
	"time"
)

// A ServiceEntry is one line of a prop's service log: something that happened to it
// between its reports. Entries are only ever added.
type ServiceEntry struct {
	Number int         `json:"number"` // from 1 on, over the whole site
	Prop   string      `json:"prop"`
	At     time.Time   `json:"at"`
	Kind   ServiceKind `json:"kind"`
	Text   string      `json:"text"`
	By     string      `json:"by"`
	Board  string      `json:"board,omitempty"`  // the board at the prop by then
	Report int         `json:"report,omitempty"` // number of the report that belongs to it
}

// A ServiceKind is what sort of thing happened.
type ServiceKind string

// The kinds. A by-pass lasts until the prop is back, a hold until it is released.
const (
	ServiceRepaired ServiceKind = "repaired"
	ServiceSwapped  ServiceKind = "swapped"   // a part
	ServiceBypassed ServiceKind = "by-passed" // the room runs without it
	ServiceBack     ServiceKind = "back"
	ServiceIncident ServiceKind = "incident"
	ServiceMoved    ServiceKind = "moved"
	ServiceHeld     ServiceKind = "held" // nothing of it may be deleted
	ServiceReleased ServiceKind = "released"
)

// ServiceKinds are those that a person writes down; held and released come from
// holds.
func ServiceKinds() []ServiceKind {
	return []ServiceKind{ServiceRepaired, ServiceSwapped, ServiceBypassed, ServiceBack, ServiceIncident, ServiceMoved}
}

// Log adds an entry with the next number, at the board that is at the prop now. An
// entry that ends what has not begun, or begins what has not ended, is refused.
func (p *Plan) Log(e ServiceEntry) (ServiceEntry, error) {
	q, err := p.PropNamed(e.Prop)
	if err != nil {
		return e, err
	}
	if e.Board == "" {
		e.Board = q.Board
	}
	e.Number = 1
	if n := len(p.Service); n > 0 {
		e.Number = p.Service[n-1].Number + 1
	}
	e.At = e.At.UTC().Truncate(time.Second)
	return e, p.addService(e)
}

// addService adds an entry as it is.
func (p *Plan) addService(e ServiceEntry) error {
	if err := e.check(); err != nil {
		return fmt.Errorf("service log: entry %d: %w", e.Number, err)
	}
	if _, ok := p.Prop(e.Prop); !ok {
		return fmt.Errorf("service log: entry %d: prop %q: not in the plan", e.Number, e.Prop)
	}
	if n := len(p.Service); n > 0 && e.Number <= p.Service[n-1].Number {
		return fmt.Errorf("service log: entry %d: number: not above the last one's", e.Number)
	}
	_, by := p.BypassedSince(e.Prop)
	_, held := p.HeldSince(e.Prop)
	switch {
	case e.Kind == ServiceBypassed && by:
		return fmt.Errorf("prop %q: is by-passed already", e.Prop)
	case e.Kind == ServiceBack && !by:
		return fmt.Errorf("prop %q: is not by-passed", e.Prop)
	case e.Kind == ServiceHeld && held:
		return fmt.Errorf("prop %q: is on hold already", e.Prop)
	case e.Kind == ServiceReleased && !held:
		return fmt.Errorf("prop %q: is not on hold", e.Prop)
	}
	p.Service = append(p.Service, e)
	return nil
}

func (e ServiceEntry) check() error {
	kinds := append(ServiceKinds(), ServiceHeld, ServiceReleased)
	switch {
	case !slices.Contains(kinds, e.Kind):
		return bad("kind", string(e.Kind), "must be one of %s", joinKinds(ServiceKinds()))
	case e.At.IsZero():
		return bad("at", "", "missing")
	case e.Text == "":
		return bad("text", "", "missing: say in a line what happened")
	case e.By == "":
		return bad("by", "", "missing: who writes it down")
	}
	return first(checkText("text", e.Text), checkText("by", e.By), checkRange("report", e.Report, 0, 1<<31-1))
}

func joinKinds(kinds []ServiceKind) string {
	text := ""
	for i, k := range kinds {
		if i > 0 {
			text += ", "
		}
		text += string(k)
	}
	return text
}

// ServiceOf is a prop's log, the oldest first.
func (p *Plan) ServiceOf(prop string) []ServiceEntry {
	var own []ServiceEntry
	for _, e := range p.Service {
		if e.Prop == prop {
			own = append(own, e)
		}
	}
	return own
}

// BypassedSince is the entry by which the prop is by-passed now; ok is false where it
// is not.
func (p *Plan) BypassedSince(prop string) (e ServiceEntry, ok bool) {
	return p.open(prop, ServiceBypassed, ServiceBack)
}

// HeldSince is the entry by which the prop is on hold now; ok is false where it is
// not.
func (p *Plan) HeldSince(prop string) (e ServiceEntry, ok bool) {
	return p.open(prop, ServiceHeld, ServiceReleased)
}

// open is the last entry that begins something which no later one has ended.
func (p *Plan) open(prop string, begins, ends ServiceKind) (last ServiceEntry, ok bool) {
	for _, e := range p.Service {
		switch {
		case e.Prop != prop:
		case e.Kind == begins:
			last, ok = e, true
		case e.Kind == ends:
			last, ok = ServiceEntry{}, false
		}
	}
	return last, ok
}

// Keeps says whether a changed plan keeps what must be kept of this one: every entry
// of the service log, and of a prop on hold the prop itself, its board, its readers
// and its tags.
func (p *Plan) Keeps(after *Plan) error {
	for i, e := range p.Service {
		if i >= len(after.Service) || after.Service[i] != e {
			return fmt.Errorf("service log: entry %d: is kept as it was written", e.Number)
		}
	}
	for _, q := range p.Props {
		if _, held := p.HeldSince(q.Name); !held {
			continue
		}
		hold := fmt.Errorf("prop %q: is on hold, nothing of it is deleted until it is released", q.Name)
		if _, still := after.Prop(q.Name); !still {
			return hold
		}
		if _, still := after.Board(q.Board); q.Board != "" && !still {
			return hold
		}
		for _, t := range p.Tags {
			same := func(o Tag) bool { return o.Name == t.Name && o.UID == t.UID }
			if t.Prop == q.Name && !slices.ContainsFunc(after.Tags, same) {
				return hold
			}
		}
	}
	return nil
}

// PropNamed is a prop by its name; the error names the nearest where there is none.
func (p *Plan) PropNamed(name string) (Prop, error) {
	q, ok := p.Prop(name)
	if !ok {
		return q, fmt.Errorf("prop %q: %w", name, p.unknownProp(name))
	}
	return q, nil
}

// Of is the part of the plan that concerns one prop: the prop, its board with its
// readers and controller, its tags and the site's masters, and its service log.
func (p *Plan) Of(prop string) Plan {
	own := Plan{Site: p.Site, Service: p.ServiceOf(prop)}
	q, ok := p.Prop(prop)
	if !ok {
		return own
	}
	own.Props = []Prop{q}
	if b, ok := p.Board(q.Board); ok {
		own.Boards, own.Readers = []Board{b}, p.ReadersOf(b.Name)
		if c, ok := p.Controller(b.Controller); ok {
			own.Controllers = []Controller{c}
		}
	}
	for _, t := range p.Tags {
		if t.Prop == prop || t.Prop == "" {
			own.Tags = append(own.Tags, t)
		}
	}
	return own
}
