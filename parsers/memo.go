package parsers

import (
	"bytes"
	"hash/maphash"
)

// memoLine is how many bytes a line may have to be remembered.
const memoLine = 96

// A memo remembers of the lines last seen what they came to: consoles say the same
// again and again, the same few tags, the same states.
type memo[V any] struct {
	lines int // how many it remembers, a power of two
	seed  maphash.Seed
	slots []remembered[V]
}

// remembered is a line and what it came to.
type remembered[V any] struct {
	raw  []byte // its own
	used bool
	is   V
}

// slot is where a line is kept, nil for one that is kept nowhere.
func (m *memo[V]) slot(raw []byte) *remembered[V] {
	if len(raw) > memoLine {
		return nil
	}
	if m.slots == nil {
		m.seed, m.slots = maphash.MakeSeed(), make([]remembered[V], m.lines)
	}
	return &m.slots[maphash.Bytes(m.seed, raw)&uint64(len(m.slots)-1)]
}

// knows reports whether the slot holds this line.
func (s *remembered[V]) knows(raw []byte) bool {
	return s != nil && s.used && bytes.Equal(s.raw, raw)
}

// keep puts a line there, and returns what it comes to for the caller to fill; nil for
// a line that is kept nowhere.
func (s *remembered[V]) keep(raw []byte) *V {
	if s == nil {
		return nil
	}
	s.raw, s.used = append(s.raw[:0], raw...), true
	return &s.is
}
