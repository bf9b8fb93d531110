package parsers

// tagWithin is how many lines after a tag was named a line of a profile may take
// the tag's identity over (uid = "before").
const tagWithin = 6

// namings are the last events that may have named a tag; which did is only read when
// a line asks.
type namings struct {
	last [namingsKept]naming
	next int
	lent [namingsKept]bool   // whose text is part of what was lent to the stream
	own  [namingsKept][]byte // room for copies of such
}

// namingsKept is how many, a power of two: those of the lines, which may be two events
// each, and of the line that asks.
const namingsKept = 16

var _ [namingsKept - 2*(tagWithin+1)]struct{}

// keep makes the texts the namings' own, for what was lent goes.
func (n *namings) keep() {
	for i := range n.last {
		if n.lent[i] {
			n.own[i] = append(n.own[i][:0], n.last[i].raw...)
			n.last[i].raw, n.lent[i] = n.own[i], false
		}
	}
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
	at := n.next % namingsKept
	c := &n.last[at]
	c.line, c.told, c.said, c.raw = e.Lines[1], e.told, e.said, e.Raw
	n.lent[at] = true
	n.next++
}

// before is the tag named last before a line, nil where none was near enough.
func (n *namings) before(line int) *UID {
	for i := range n.last {
		c := &n.last[(n.next-1-i+namingsKept)%namingsKept]
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
