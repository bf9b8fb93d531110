package parsers

import (
	"bytes"
	"hash/maphash"
)

// Consoles say the same again and again: the same few tags, the same states. What a
// line means on its own does not change, so a stream remembers the lines last seen.
const (
	memoSlots = 1 << 12
	memoLine  = 96 // bytes; a longer line is read anew each time
)

// memo holds the lines whose meaning is settled, by their bytes.
type memo struct {
	seed  maphash.Seed
	slots []remembered
}

// remembered is a line that is known and whole, or that nothing explains.
type remembered struct {
	raw    []byte // its own
	said   *saying
	reader int
	used   bool
}

// slot is where a line is kept, nil for one that is kept nowhere.
func (m *memo) slot(raw []byte) *remembered {
	if len(raw) > memoLine {
		return nil
	}
	if m.slots == nil {
		m.seed, m.slots = maphash.MakeSeed(), make([]remembered, memoSlots)
	}
	return &m.slots[maphash.Bytes(m.seed, raw)%memoSlots]
}

// knows reports whether the slot holds this line.
func (s *remembered) knows(raw []byte) bool {
	return s != nil && s.used && bytes.Equal(s.raw, raw)
}

// keep puts a line there.
func (s *remembered) keep(raw []byte, said *saying, reader int) {
	if s != nil {
		s.raw, s.said, s.reader, s.used = append(s.raw[:0], raw...), said, reader, true
	}
}
