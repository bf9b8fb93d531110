package parsers

// tagWithin is how many lines after a tag was named a line of a profile may take
// the tag's identity over (uid = "before").
const tagWithin = 6

// namings are the last events that may have named a tag; which did is only read when
// a line asks.
type namings struct {
	last [2 * (tagWithin + 1)]naming // a line may be two events
	next int
}

// naming is what it takes to read an event's tag later.
type naming struct {
	line int // its last; 0 for none
	told *told
	said *saying
	raw  []byte
}

// note keeps an event, where it may name a tag.
func (n *namings) note(e *Event) {
	switch {
	case e.Lines[1] == 0:
		return
	case e.told != nil:
		if e.told.uid == nil {
			return
		}
	case e.said != nil:
		if !e.said.tags {
			return
		}
	case e.Kind != KindUnknown:
		return
	}
	n.last[n.next] = naming{line: e.Lines[1], told: e.told, said: e.said, raw: e.Raw}
	n.next = (n.next + 1) % len(n.last)
}

// before is the tag named last before a line, nil where none was near enough.
func (n *namings) before(line int) *UID {
	for i := range n.last {
		c := &n.last[(n.next-1-i+2*len(n.last))%len(n.last)]
		if c.line == 0 || line-c.line > tagWithin {
			return nil
		}
		e := Event{Kind: KindUnknown, told: c.told, said: c.said, Raw: c.raw}
		if u := e.UID(); u != nil {
			return u
		}
	}
	return nil
}
