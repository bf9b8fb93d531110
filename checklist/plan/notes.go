package plan

import (
	"fmt"
	"net/netip"
)

// A Note is about something that is allowed and deserves a look.
type Note struct {
	Kind Kind   `json:"kind"`
	Name string `json:"name"`
	Text string `json:"text"`
}

// String is the note as one line.
func (n Note) String() string { return fmt.Sprintf("%s %q: %s", n.Kind, n.Name, n.Text) }

// Notes returns what deserves a look, in the order of the plan.
func (p *Plan) Notes() []Note {
	var notes []Note
	note := func(kind Kind, name, text string, a ...any) {
		notes = append(notes, Note{kind, name, fmt.Sprintf(text, a...)})
	}
	for _, c := range p.Controllers {
		if !c.Address.IsPrivate() {
			note(KindController, c.Name, "address %v: not in a private network (RFC 1918)", c.Address)
		}
	}
	for _, b := range p.Boards {
		for _, text := range p.boardNotes(b) {
			note(KindBoard, b.Name, "%s", text)
		}
	}
	for _, t := range p.Tags {
		if t.UID.Len() == 4 {
			note(KindTag, t.Name, "uid of 4 bytes: not unique for sure, other tags may have the same (ISO/IEC 14443-3)")
		}
	}
	return notes
}

func (p *Plan) boardNotes(b Board) []string {
	var texts []string
	note := func(text string, a ...any) { texts = append(texts, fmt.Sprintf(text, a...)) }
	switch {
	case b.MAC.IsZero():
		note("no mac planned, so none is checked")
	case b.MAC == commonDefault():
		note("mac %v: the default of many examples, two such boards on one switch collide", b.MAC)
	case !b.MAC.Local():
		note("mac %v: globally administered, right only if it is the maker's own for this board", b.MAC)
	}
	if !b.IP.IsValid() {
		note("no ip planned, so none is checked")
		return texts
	}
	switch ip := b.IP.Addr(); {
	case ip.IsLinkLocalUnicast():
		note("ip %v: link-local, which is for addresses that a device picks for itself (RFC 3927)", ip)
	case !ip.IsPrivate():
		note("ip %v: not in a private network (RFC 1918)", ip)
	}
	if c, ok := p.Controller(b.Controller); ok {
		texts = append(texts, pathNotes(b, c)...)
	}
	return texts
}

// pathNotes looks at the way from a board to its controller.
func pathNotes(b Board, c Controller) []string {
	if b.IP.Contains(c.Address) {
		if err := hostAddress(netip.PrefixFrom(c.Address, b.IP.Bits())); err != nil {
			return []string{fmt.Sprintf("controller %q: %v is the %v as this board sees it", c.Name, c.Address, err)}
		}
		return nil
	}
	if b.Gateway.IsValid() {
		return []string{fmt.Sprintf("controller %q: %v is outside of %v, so it is reached over the gateway", c.Name, c.Address, b.IP.Masked())}
	}
	return []string{fmt.Sprintf("controller %q: %v is outside of %v and there is no gateway", c.Name, c.Address, b.IP.Masked())}
}

// commonDefault is the MAC that a shield's examples print (value read on a
// shield's page).
func commonDefault() MAC { return MAC{0xDE, 0xAD, 0xBE, 0xEF, 0xFE, 0xED} }
