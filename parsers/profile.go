package parsers

import (
	"bytes"
	"fmt"
	"strconv"
)

// A Profile knows what one firmware's lines mean. It is made by LoadProfile, never
// changes, and is safe for concurrent use.
type Profile struct {
	name, about string
	source      []byte
	convention  bool
	lines       []*profileLine
	patterns    []*pattern // of all lines
	owner       []int      // line of each pattern
	sayings     []saying   // each pattern in its line
	inherits    bool       // some line takes its UID from the tag named before
	match       *dfa       // nil without lines
	start       *dfa       // finds a start text behind anything; nil without boot lines
}

// profileLine is one [[line]] of a profile.
type profileLine struct {
	id       string
	kind     Kind
	fields   fields
	form     UIDForm
	inherit  bool     // the UID is that of the tag named shortly before
	next     *pattern // what the following line says, nil for most
	rows     bool     // it stands over several lines, a byte a line
	patterns []*pattern
	before   []string
	wins     map[int]bool // lines that this one goes before
}

// A ProfileLine shows one line of a profile.
type ProfileLine struct {
	ID   string // empty for most
	Kind Kind
	Says []string
	Next string // what the following line says, where two belong together
}

// Name is the profile's name, as events carry it.
func (p *Profile) Name() string { return p.name }

// About is a sentence on which firmware prints so.
func (p *Profile) About() string { return p.about }

// Source is the TOML text that the profile was loaded from, as a copy.
func (p *Profile) Source() []byte { return bytes.Clone(p.source) }

// Lines returns what the profile knows, in its order. It is empty for the open
// line convention, which needs no list.
func (p *Profile) Lines() []ProfileLine {
	lines := make([]ProfileLine, 0, len(p.lines))
	for _, l := range p.lines {
		pl := ProfileLine{ID: l.id, Kind: l.kind}
		for _, pat := range l.patterns {
			pl.Says = append(pl.Says, pat.says)
		}
		if l.next != nil {
			pl.Next = l.next.says
		}
		lines = append(lines, pl)
	}
	return lines
}

// reading is what a profile makes of a line.
type reading struct {
	said   *saying // nil for the open line convention
	kind   Kind
	fields fields
	uid    *UID
	reader int
	bare   bool // the text has no placeholder with a value
}

// sure is the wording of a line that the profile knows and whose values are whole, to
// be read later, and the reader that it names. Where it is nil and more is true, only read tells.
func (p *Profile) sure(raw []byte) (said *saying, reader int, more bool) {
	if p.convention {
		return nil, NoReader, len(raw) > 0 && (raw[0] == '@' || raw[0] <= ' ')
	}
	if p.match == nil {
		return nil, NoReader, false
	}
	matches := p.match.match(raw)
	if len(matches) == 0 {
		return nil, NoReader, false
	}
	s := &p.sayings[matches[0]]
	if reader, ok := s.sound(raw); ok {
		return s, reader, true
	}
	return nil, NoReader, true
}

// read says what a line means; ok is false where no wording matches. An error
// means that one does and that a value in the text is broken.
func (p *Profile) read(raw []byte) (r reading, ok bool, err error) {
	if p.convention {
		return readConvention(raw)
	}
	if p.match == nil {
		return reading{}, false, nil
	}
	for _, i := range p.match.match(raw) {
		r, broken := p.sayings[i].read(raw)
		if broken == nil {
			return r, true, nil
		}
		if err == nil {
			err = broken
		}
	}
	return reading{}, false, err
}

// ordered sorts patterns that match the same by declared precedence, then by their
// order in the file.
func (p *Profile) ordered(matches []int32) []int32 {
	order := make([]int32, 0, len(matches))
	for _, m := range matches {
		at := len(order)
		for i, o := range order {
			if p.lines[p.owner[m]].wins[p.owner[o]] {
				at = i
				break
			}
		}
		order = append(order, 0)
		copy(order[at+1:], order[at:])
		order[at] = m
	}
	return order
}

// take reads a pattern's values from a line that the pattern matches.
func (r *reading) take(p *pattern, raw []byte, form UIDForm) error {
	if at, ok := p.find(raw); ok {
		for i, h := range p.values {
			if h.name != "_" {
				if err := r.hold(h, raw[at[i][0]:at[i][1]], form); err != nil {
					return err
				}
			}
		}
		return nil
	}
	text, latin := raw, false
	for _, c := range raw {
		if c >= 0x80 {
			text, latin = latin1(raw), true
			break
		}
	}
	groups := p.full().FindSubmatch(text)
	if groups == nil {
		return fmt.Errorf("%q: matches as a whole only", p.says)
	}
	for i, h := range p.values {
		if h.name == "_" {
			continue
		}
		group := groups[i+1]
		if latin {
			group = unlatin1(group)
		}
		if err := r.hold(h, group, form); err != nil {
			return err
		}
	}
	return nil
}

// hold takes the text that stood in a hole.
func (r *reading) hold(h *placeholder, text []byte, form UIDForm) error {
	if h.name == "uid" && form == FormOpen {
		if u, ok := pairsUID(string(text)); ok {
			r.tag(u)
			return nil
		}
	}
	value, err := h.value(text, form)
	if err != nil {
		return fmt.Errorf("field %s: %w", h.name, err)
	}
	return r.set(h.name, value)
}

// tag takes the UID.
func (r *reading) tag(u UID) {
	r.uid = &u
	r.fields = r.fields.with("uid", u.String())
}

// set takes one field: the reader index and the UID have places of their own.
func (r *reading) set(name, value string) error {
	if name == "reader" {
		n, err := strconv.ParseUint(value, 10, 16)
		if err != nil {
			return fmt.Errorf("field reader: index %q: want a number up to 65535", clip(value))
		}
		r.reader = int(n)
		return nil
	}
	if name == "uid" {
		u, err := ParseUID(value)
		if err != nil {
			return fmt.Errorf("field uid: %w", err)
		}
		r.tag(u)
		return nil
	}
	r.fields = r.fields.with(name, value)
	return nil
}

// startWithin is how many bytes before a line's end a start text is looked for;
// it bounds the work that a hostile line can cause.
const startWithin = 1024

// startAt finds where a start text begins behind other bytes, in a line that no
// wording matches as a whole: a board that is reset in the middle of a line, or
// whose line carried junk, prints its first line without a line end before it.
func (p *Profile) startAt(raw []byte) (int, bool) {
	if p.start == nil || len(p.start.match(raw)) == 0 {
		return 0, false
	}
	for i := max(1, len(raw)-startWithin); i < len(raw); i++ {
		if raw[i] == ' ' || raw[i] == '\t' {
			continue
		}
		for _, m := range p.match.match(raw[i:]) {
			if p.lines[p.owner[m]].kind == KindBoot {
				return i, true
			}
		}
	}
	return 0, false
}

// startBehindJunk finds a line of a board's start that follows a byte that is no
// text. Lines of service are not taken there: what the junk swallowed may have
// changed their meaning.
func (p *Profile) startBehindJunk(raw []byte) (int, bool) {
	at := lastJunk(raw)
	if at <= 0 || at == len(raw) {
		return 0, false
	}
	r, ok, _ := p.read(raw[at:])
	if !ok {
		return 0, false
	}
	switch r.kind {
	case KindBoot, KindFirmware, KindResetCause, KindReaderVersion, KindReaderMissing, KindReaderSelfTest:
		return at, true
	}
	return 0, false
}

// latin1 makes UTF-8 of bytes taken as Latin-1, so that an expression over runes
// is one over bytes.
func latin1(raw []byte) []byte {
	rs := make([]rune, len(raw))
	for i, c := range raw {
		rs[i] = rune(c)
	}
	return []byte(string(rs))
}

func unlatin1(text []byte) []byte {
	raw := make([]byte, 0, len(text))
	for _, r := range string(text) {
		raw = append(raw, byte(r))
	}
	return raw
}
