package parsers

// memoLine is how many bytes a line may have to be remembered: most have fewer, and a
// stream's line and what it came to fill two lines of a processor's cache.
const memoLine = 94

// A memo remembers of lines what they came to: consoles say the same again and again,
// the same few tags, the same states. A line that comes once is not kept, so that those
// that never come again push nothing out.
type memo[V any] struct {
	lines int // how many it remembers, a power of two
	slots []remembered[V]
}

// remembered is a line and what it came to.
type remembered[V any] struct {
	sum  sum // of the line kept
	met  sum // of the line that came last and was not known
	is   V
	used uint8
	n    uint8
	raw  [memoLine]byte
}

// slot is where a line of a sum is kept.
func (m *memo[V]) slot(of sum) *remembered[V] {
	if m.slots == nil {
		m.slots = make([]remembered[V], m.lines)
	}
	return &m.slots[uint64(of)&uint64(len(m.slots)-1)]
}

// knows reports whether the slot holds this line.
func (s *remembered[V]) knows(of sum, raw []byte) bool {
	return s.sum == of && s.used != 0 && string(s.raw[:s.n]) == string(raw)
}

// keep puts a line there, and returns what it comes to for the caller to fill; nil for
// a line that is not kept, which is any too long and one that came for the first time.
func (s *remembered[V]) keep(of sum, raw []byte) *V {
	if len(raw) > memoLine {
		return nil
	}
	if s.met != of {
		s.met = of
		return nil
	}
	s.sum, s.used, s.n = of, 1, uint8(copy(s.raw[:], raw))
	return &s.is
}
