package parsers

import (
	"bytes"
	"hash/maphash"
)

// An EventEncoder writes many events as JSON, as Event.AppendJSON does each. It
// remembers what the lines last written came to, for consoles repeat themselves. The
// zero value is ready to use; it is not safe for concurrent use.
type EventEncoder struct {
	seed  maphash.Seed
	slots []inWords
}

// encoderSlots is how many lines an encoder remembers.
const encoderSlots = 1 << 11

// inWords is what of an event depends on nothing but its text and its wording.
type inWords struct {
	raw     []byte // its own, as what follows
	said    *saying
	meaning []byte // kind, reader and fields
	text    []byte // raw as JSON
	used    bool
}

// Append appends an event.
func (c *EventEncoder) Append(b []byte, e *Event) ([]byte, error) {
	if e.told != nil || len(e.Raw) > memoLine || e.said == nil && e.Kind != KindUnknown {
		return e.AppendJSON(b)
	}
	if c.slots == nil {
		c.seed, c.slots = maphash.MakeSeed(), make([]inWords, encoderSlots)
	}
	b, err := e.appendPlace(b)
	if err != nil {
		return nil, err
	}
	s := &c.slots[maphash.Bytes(c.seed, e.Raw)%encoderSlots]
	if !s.used || s.said != e.said || !bytes.Equal(s.raw, e.Raw) {
		s.raw, s.said, s.used = append(s.raw[:0], e.Raw...), e.said, true
		s.meaning, s.text = e.appendMeaning(s.meaning[:0]), e.appendRaw(s.text[:0])
	}
	b = append(b, s.meaning...)
	b = e.appendLines(b)
	b = append(b, s.text...)
	return e.appendEnd(b), nil
}
