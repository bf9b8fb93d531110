package plan

import (
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strconv"
	"strings"
)

// A Plan is everything that a site has planned. The zero value is an empty plan.
// It is not safe for concurrent use.
type Plan struct {
	Site        Site         `json:"site"`
	Controllers []Controller `json:"controllers"`
	Boards      []Board      `json:"boards"`
	Readers     []Reader     `json:"readers"`
	Props       []Prop       `json:"props"`
	Tags        []Tag        `json:"tags"`
	// Service is the service log of all props, by number.
	Service []ServiceEntry `json:"service,omitempty"`
}

// A Site is the venue.
type Site struct {
	Name string `json:"name"`
}

// Check returns the first break of a rule in the whole plan, nil when there is
// none.
func (p Plan) Check() error {
	var q Plan
	return first(
		each(p.Controllers, q.AddController),
		each(p.Boards, q.AddBoard),
		each(p.Readers, q.AddReader),
		each(p.Props, q.AddProp),
		each(p.Tags, q.AddTag),
		each(p.Service, q.addService),
	)
}

func each[T any](things []T, add func(T) error) error {
	for _, t := range things {
		if err := add(t); err != nil {
			return err
		}
	}
	return nil
}

// AddController adds a controller. Two may share an address where their ports,
// units or networks differ.
func (p *Plan) AddController(c Controller) error {
	return add(&p.Controllers, c, KindController, c.Name, c.check, func() error {
		if _, taken := p.Controller(c.Name); taken {
			return errNameTaken
		}
		for _, o := range p.Controllers {
			if o.Network == c.Network && o.Address == c.Address && o.Port == c.Port && o.Unit == c.Unit {
				return bad("address", c.Address, "port %d, unit %d: taken by controller %q", c.Port, c.Unit, o.Name)
			}
		}
		for _, b := range p.Boards {
			if b.Network == c.Network && b.IP.Addr() == c.Address {
				return bad("address", c.Address, "taken by board %q", b.Name)
			}
		}
		return nil
	})
}

// AddBoard adds a board, whose controller must be there already.
func (p *Plan) AddBoard(b Board) error {
	b.Lamps = slices.Clone(b.Lamps)
	return add(&p.Boards, b, KindBoard, b.Name, b.check, func() error {
		if _, taken := p.Board(b.Name); taken {
			return errNameTaken
		}
		for _, o := range p.Boards {
			if !b.MAC.IsZero() && o.MAC == b.MAC {
				return bad("mac", b.MAC, "taken by board %q", o.Name)
			}
		}
		return first(p.checkAddressFree(b), p.checkGatewayFree(b), p.checkBoardController(b))
	})
}

func (p *Plan) checkAddressFree(b Board) error {
	if !b.IP.IsValid() {
		return nil
	}
	for _, o := range p.Boards {
		switch {
		case o.Network != b.Network:
		case o.IP.Addr() == b.IP.Addr():
			return bad("ip", b.IP.Addr(), "taken by board %q", o.Name)
		case o.Gateway == b.IP.Addr():
			return bad("ip", b.IP.Addr(), "gateway of board %q", o.Name)
		}
	}
	for _, c := range p.Controllers {
		if c.Network == b.Network && c.Address == b.IP.Addr() {
			return bad("ip", b.IP.Addr(), "taken by controller %q", c.Name)
		}
	}
	return nil
}

func (p *Plan) checkGatewayFree(b Board) error {
	for _, o := range p.Boards {
		if b.Gateway.IsValid() && o.Network == b.Network && o.IP.Addr() == b.Gateway {
			return bad("gateway", b.Gateway, "taken by board %q", o.Name)
		}
	}
	return nil
}

func (p *Plan) checkBoardController(b Board) error {
	if b.Controller == "" {
		return nil
	}
	c, ok := p.Controller(b.Controller)
	switch {
	case !ok:
		return bad("controller", b.Controller, "not in the plan")
	case c.Network != b.Network:
		return bad("controller", b.Controller, "is in network %q, the board in %q", c.Network, b.Network)
	}
	return nil
}

// AddReader adds a reader to a board that is there already. Its coil must be one
// that the board's controller has and that no other reader drives.
func (p *Plan) AddReader(r Reader) error {
	return add(&p.Readers, r, KindReader, r.Name(), r.check, func() error {
		b, ok := p.Board(r.Board)
		if !ok {
			return bad("board", r.Board, "not in the plan")
		}
		c, ok := p.Controller(b.Controller)
		if !ok {
			return bad("coil", r.Coil, "board %q has no controller whose coil it could be", b.Name)
		}
		if err := checkRange("coil", r.Coil, c.Base, c.Base+maxCoils-1); err != nil {
			return fmt.Errorf("%w at controller %q, which counts from %d", err, c.Name, c.Base)
		}
		for _, o := range p.Readers {
			if o.Board == r.Board && o.Index == r.Index {
				return errNameTaken
			}
			if ob, _ := p.Board(o.Board); ob.Controller == c.Name && o.Coil == r.Coil {
				return bad("coil", r.Coil, "taken by %s at controller %q, unit %d", p.ownerOf(o.Board), c.Name, c.Unit)
			}
		}
		return nil
	})
}

// AddProp adds a prop; the board at it must be there already and at no other.
func (p *Plan) AddProp(q Prop) error {
	return add(&p.Props, q, KindProp, q.Name, q.check, func() error {
		if _, taken := p.Prop(q.Name); taken {
			return errNameTaken
		}
		if q.Board == "" {
			return nil
		}
		if _, ok := p.Board(q.Board); !ok {
			return bad("board", q.Board, "not in the plan")
		}
		if o, ok := p.propAt(q.Board); ok {
			return bad("board", q.Board, "is at prop %q", o.Name)
		}
		return nil
	})
}

// AddTag adds a tag; the prop that it belongs to must be there already.
func (p *Plan) AddTag(t Tag) error {
	return add(&p.Tags, t, KindTag, t.Name, t.check, func() error {
		for _, o := range p.Tags {
			if o.Name == t.Name {
				return errNameTaken
			}
			if o.UID == t.UID {
				// The UID is a key: the message names the tag and not the UID.
				return bad("uid", "", "the same as that of tag %q", o.Name)
			}
		}
		if _, ok := p.Prop(t.Prop); t.Prop != "" && !ok {
			return bad("prop", t.Prop, "not in the plan")
		}
		return nil
	})
}

var errNameTaken = errors.New("is in the plan already")

// add appends a thing once all rules hold.
func add[T any](to *[]T, thing T, kind Kind, name string, checks ...func() error) error {
	for _, check := range checks {
		if err := check(); err != nil {
			return fmt.Errorf("%s %q: %w", kind, name, err)
		}
	}
	*to = append(*to, thing)
	return nil
}

// Controller returns the controller of that name.
func (p *Plan) Controller(name string) (Controller, bool) {
	return find(p.Controllers, func(c Controller) bool { return c.Name == name })
}

// Board returns the board of that name.
func (p *Plan) Board(name string) (Board, bool) {
	return find(p.Boards, func(b Board) bool { return b.Name == name })
}

// Prop returns the prop of that name.
func (p *Plan) Prop(name string) (Prop, bool) {
	return find(p.Props, func(q Prop) bool { return q.Name == name })
}

// ReadersOf returns the readers of a board, by index.
func (p *Plan) ReadersOf(board string) []Reader {
	var readers []Reader
	for _, r := range p.Readers {
		if r.Board == board {
			readers = append(readers, r)
		}
	}
	slices.SortFunc(readers, func(a, b Reader) int { return a.Index - b.Index })
	return readers
}

func (p *Plan) propAt(board string) (Prop, bool) {
	return find(p.Props, func(q Prop) bool { return q.Board != "" && q.Board == board })
}

// ownerOf names whose a board's numbers are: those of the prop it is at, else its
// own.
func (p *Plan) ownerOf(board string) string {
	if q, ok := p.propAt(board); ok {
		return fmt.Sprintf("prop %q", q.Name)
	}
	return fmt.Sprintf("board %q", board)
}

func find[T any](things []T, is func(T) bool) (T, bool) {
	if i := slices.IndexFunc(things, is); i >= 0 {
		return things[i], true
	}
	var none T
	return none, false
}

// Name is how a reader is called: its board's name, and behind a slash its index
// where that is not 0.
func (r Reader) Name() string {
	if r.Index == 0 {
		return r.Board
	}
	return r.Board + "/" + strconv.Itoa(r.Index)
}

// parseReaderName takes a reader's name apart.
func parseReaderName(name string) (board string, index int, err error) {
	board, number, ok := strings.Cut(name, "/")
	if !ok {
		return name, 0, nil
	}
	index, err = strconv.Atoi(number)
	if err != nil || strconv.Itoa(index) != number {
		return "", 0, fmt.Errorf("%q is no index of a reader", number)
	}
	return board, index, nil
}

// HostPort is where a controller answers.
func (c Controller) HostPort() string {
	return netip.AddrPortFrom(c.Address, uint16(c.Port)).String()
}
