package parsers

// beginnings look for the first letters of start texts anywhere in a line, all at once
// (the shift-and method of Baeza-Yates and Gonnet, 1992): most lines hold none, and
// then nothing else has to look for a start.
type beginnings struct {
	letter    [256]uint64 // a bit for each letter of each beginning that a byte may be
	first     uint64      // of each beginning
	last      uint64
	bits      int
	uncertain bool // there are more of them than fit
}

// mostBeginning is how many letters of a start text are looked for.
const mostBeginning = 6

// add takes the start texts of a profile.
func (b *beginnings) add(p *Profile) {
	for _, pat := range p.startPatterns() {
		n := 0
		for n < len(pat.elements) && n < mostBeginning && pat.elements[n].hold == nil {
			n++
		}
		if b.bits+n > 64 {
			b.uncertain = true
			return
		}
		b.first |= 1 << b.bits
		for _, e := range pat.elements[:n] {
			for c := range b.letter {
				if e.lit == 0 && (c == ' ' || c == '\t') || e.lit != 0 && sameLetter(byte(c), e.lit) {
					b.letter[c] |= 1 << b.bits
				}
			}
			b.bits++
		}
		b.last |= 1 << (b.bits - 1)
	}
}

// within reports whether a line holds the beginning of a start text; true also where
// that is not certain.
func (b *beginnings) within(line []byte) bool {
	if b.bits == 0 && !b.uncertain {
		return false
	}
	at, met, before := uint64(0), uint64(0), byte(0)
	for _, c := range line {
		if (c == ' ' || c == '\t') && before == ' ' {
			continue // a run of blanks is one
		}
		at = (at<<1 | b.first) & b.letter[c]
		met |= at
		if before = c; c == '\t' {
			before = ' '
		}
	}
	return b.uncertain || met&b.last != 0
}
