package parsers

// A saying is a wording in its profile: what an event remembers of the line that
// matched, to read the values when they are asked for.
type saying struct {
	profile *Profile
	name    string // the profile's
	kind    Kind   // the line's
	line    *profileLine
	pattern *pattern
	bare    bool // no value in it
	tags    bool // names a tag
	apart   bool // the values must be read at once, for other lines have a part in them
	checked bool // some value may turn out to be broken
}

func newSaying(p *Profile, l *profileLine, pat *pattern) saying {
	s := saying{profile: p, name: p.name, kind: l.kind, line: l, pattern: pat, bare: true, apart: l.next != nil || l.inherit}
	for _, h := range pat.values {
		if h.name == "_" {
			continue
		}
		s.bare = false
		switch {
		case h.name == "reader":
			s.checked = true
		case h.name == "uid":
			s.tags, s.checked = true, true
		case h.typ == typeUID, h.typ == typePairs, h.typ == typeDec, h.typ == typeIP, h.typ == typeMAC:
			s.checked = true
		}
	}
	return s
}

// read reads a line's values that the wording matches.
func (s *saying) read(raw []byte) (r reading, err error) {
	r = reading{said: s, kind: s.line.kind, reader: NoReader, bare: s.bare, fields: s.line.fields[:len(s.line.fields):len(s.line.fields)]}
	return r, r.take(s.pattern, raw, s.line.form)
}

// holds is read for a line that was found sound.
func (s *saying) holds(raw []byte) told {
	if s.bare {
		return told{fields: s.line.fields}
	}
	r, err := s.read(raw)
	if err != nil {
		return told{} // a sound line has no such
	}
	return told{fields: r.fields, uid: r.uid}
}

// sound reports whether the values of a line that the wording matches are surely
// whole, and which reader it names, without making anything of them; false where only
// reading them tells.
func (s *saying) sound(raw []byte) (reader int, ok bool) {
	reader = NoReader
	if s.apart {
		return reader, false
	}
	if !s.checked {
		return reader, s.bare || s.pattern.plain
	}
	at, ok := s.pattern.find(raw)
	if !ok {
		return reader, false
	}
	for i, h := range s.pattern.values {
		text := raw[at[i][0]:at[i][1]]
		switch {
		case h.name == "_":
		case h.name == "reader":
			if h.typ != typeDec || len(text) > 4 {
				return reader, false
			}
			reader = 0
			for _, c := range text {
				reader = 10*reader + int(c-'0')
			}
		case !h.sound(text, s.line.form):
			return reader, false
		}
	}
	return reader, true
}

// sound reports whether a text is surely a value for the hole.
func (h *placeholder) sound(text []byte, form UIDForm) bool {
	switch h.typ {
	case typeUID, typePairs:
		_, ok := pairsUID(string(text))
		return ok && form == FormOpen
	case typeDec:
		return len(text) < 19 // below 2^63 whatever the digits
	case typeIP:
		return soundIP(text)
	case typeMAC:
		return true
	}
	return h.name != "uid"
}

// soundIP reports whether four numbers without a port are each up to 255.
func soundIP(text []byte) bool {
	n := 0
	for _, c := range text {
		switch {
		case c == '.':
			n = 0
		case isDigit(c):
			if n = n*10 + int(c-'0'); n > 255 {
				return false
			}
		default:
			return false
		}
	}
	return true
}
