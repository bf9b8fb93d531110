package parsers

import (
	"maps"
	"slices"
)

// Texts that stand for a placeholder type where an overlap is looked for.
func (h *placeholder) samples() []string {
	switch h.typ {
	case typeUID:
		return []string{"5C0A91E3", "5C 0A 91 E3", "92,10,145,227", "1544196579", "0x5c0a91e3", "5CA91E3", "decade"}
	case typePairs:
		return []string{"5C 0A 91 E3", "92,10,145,227", "92 10 45 27"}
	case typeHex8:
		return []string{"0x92", "12", "b2"}
	case typeDec:
		return []string{"117", "1544196579", "12"}
	case typeIP:
		return []string{"10.77.0.57", "10.77.0.10:502"}
	case typeMAC:
		return []string{"02:54:57:00:00:57", "025457000057"}
	case typeWord:
		return []string{"w", "117", "5C0A91E3", "0x92", "10.77.0.57", "02:54:57:00:00:57"}
	case typeStem:
		return []string{"", "s"}
	case typeClock:
		return []string{"15:10:00.015"}
	case typeRest:
		return []string{"w", "117", "5C 0A 91 E3", "10.77.0.57", "02:54:57:00:00:57"}
	case typeListed:
		return slices.Sorted(maps.Keys(h.values))
	}
	return nil
}

// overlap looks for two lines that match the same text and of which neither is
// declared to go first. The automaton tells which lines can meet at all; a text
// counts only if both really read it, for the automaton takes in more than a
// value's reader accepts. It returns the later line and the field to blame.
func (p *Profile) overlap() (line int, field string, err error) {
	type pair struct{ a, b int32 }
	tried := map[pair]int{}
	for state, accept := range p.match.accept {
		for i, a := range accept {
			for _, b := range accept[i+1:] {
				la, lb := p.owner[a], p.owner[b]
				if la == lb || p.lines[la].wins[lb] || p.lines[lb].wins[la] {
					continue
				}
				k := pair{a, b}
				tried[k]++
				if tried[k] > 8 { // different ways to meet of the same two; enough
					continue
				}
				texts := [][]byte{p.match.text(int32(state))}
				if tried[k] == 1 {
					texts = append(texts, p.patterns[a].examples()...)
					texts = append(texts, p.patterns[b].examples()...)
				}
				for _, text := range texts {
					if p.reads(a, text) && p.reads(b, text) {
						return max(la, lb), "says", &OverlapError{p.patterns[a].says, p.patterns[b].says, string(text)}
					}
				}
			}
		}
	}
	return 0, "", nil
}

// reads reports whether a pattern matches a text and its values are sound.
func (p *Profile) reads(pattern int32, text []byte) bool {
	r := reading{reader: NoReader}
	return r.take(p.patterns[pattern], text, p.lines[p.owner[pattern]].form) == nil
}

// examples are texts that the pattern matches: its literal text with each of the
// samples in its holes.
func (p *pattern) examples() [][]byte {
	var texts [][]byte
	for n := range 8 {
		var text []byte
		for _, e := range p.elements {
			switch {
			case e.hold != nil:
				s := e.hold.samples()
				text = append(text, s[n%len(s)]...)
			case e.expr == blankRun:
				text = append(text, ' ')
			default:
				text = append(text, e.lit)
			}
		}
		texts = append(texts, text)
	}
	return texts
}

// startText makes the automaton that finds a start text at the end of a line,
// from the boot lines that begin with some letters of their own.
func (p *Profile) startText() (*dfa, error) {
	boots := p.startPatterns()
	if len(boots) == 0 {
		return nil, nil
	}
	anything := &pattern{elements: []element{{expr: `[\x{00}-\x{FF}]+`}}}
	n, err := newNFA([]*pattern{anything}, boots)
	if err != nil {
		return nil, err
	}
	return newDFA(n)
}

// startPatterns are the wordings of a start that may be looked for behind other text.
func (p *Profile) startPatterns() (boots []*pattern) {
	const enough = 4 // bytes of literal text, so that no value is taken for a start
	for i, pat := range p.patterns {
		if p.lines[p.owner[i]].kind != KindBoot || len(pat.elements) < enough {
			continue
		}
		literal := true
		for _, e := range pat.elements[:enough] {
			literal = literal && e.hold == nil
		}
		if literal {
			boots = append(boots, pat)
		}
	}
	return boots
}
