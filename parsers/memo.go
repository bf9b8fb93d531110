package parsers

import (
	"bytes"
	"hash/maphash"
)

// Consoles say the same again and again: the same few tags, the same states. What a
// line means on its own does not change, so a stream keeps what it made of the lines
// last seen and takes it from there.
const (
	memoSlots = 1 << 12
	memoLine  = 128 // bytes; a longer line is read anew each time
)

// meaning is what a line means on its own.
type meaning struct {
	profile *Profile // that knows it; nil for noise and unknown text
	reading reading  // of a line that is known
	kind    Kind     // of one that is not
	fields  map[string]string
	uid     *UID
}

// memo holds meanings by the line's bytes. What it holds is shared by all events of
// such lines, so it is never changed.
type memo struct {
	seed  maphash.Seed
	slots []memoSlot
	// guesses are those about lines that no wording knows.
	guesses guesses
}

type memoSlot struct {
	used bool
	raw  []byte // its own
	is   meaning
}

// slot is where a line is kept, nil for one that is kept nowhere.
func (m *memo) slot(raw []byte) *memoSlot {
	if len(raw) > memoLine {
		return nil
	}
	if m.slots == nil {
		m.seed, m.slots, m.guesses = maphash.MakeSeed(), make([]memoSlot, memoSlots), guesses{}
	}
	return &m.slots[maphash.Bytes(m.seed, raw)%memoSlots]
}

// knows reports whether the slot holds this line.
func (s *memoSlot) knows(raw []byte) bool {
	return s != nil && s.used && bytes.Equal(s.raw, raw)
}

// keep puts a line's meaning there.
func (s *memoSlot) keep(raw []byte, is meaning) {
	if s != nil {
		s.used, s.raw, s.is = true, append(s.raw[:0], raw...), is
	}
}
