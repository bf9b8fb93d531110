package parsers

import (
	"strconv"
	"strings"
)

// tolerantWithin bounds how much of an unknown line is searched.
const tolerantWithin = 512

// sureAtLeast is how sure a guess must be to be told at all.
const sureAtLeast = 0.3

// Fields of an unknown event beside uid, ip, mac, gateway and mask: what the line
// surely holds, and what it seems to report.
const (
	FieldGuess   = "guess"   // the kind that the line seems to report
	FieldSure    = "sure"    // how sure that is, 0 to 1, two decimals
	FieldOutcome = "outcome" // success or failure, in words of the line
	FieldResult  = "result"  // a result number
	FieldCount   = "count"   // how many tags or entries
	FieldVersion = "version" // a value of a reader chip's version register
)

// Guess is what an unknown line seems to report, and how sure that is; "" and 0
// for a line that tells nothing, and for events that are known.
func (e Event) Guess() (Kind, float64) {
	if e.Kind != KindUnknown {
		return "", 0
	}
	held := e.holds().fields
	sure, err := strconv.ParseFloat(held.get(FieldSure), 64)
	if err != nil {
		return "", 0
	}
	return Kind(held.get(FieldGuess)), sure
}

// sighting is what one look over an unknown line finds.
type sighting struct {
	v     *vocabulary
	ideas ideas
	last  ideas // of the word before what stands here, with only signs between
	words int

	uid                    *UID
	ip, gateway, mask, mac string
	version                string // in hexadecimal
	result, count          string
	coil, bit              string
	number                 string // right before what stands here, for "7 tags"
	remark                 bool   // looks like what a person wrote between the lines
	which                  bool   // it mattered which digits stand there, or might have
}

// holds finds what a line holds that no wording explains, the first of each. Only
// shapes that stand for themselves, or that a word names, are taken as values; a
// run of digits may be anything.
func holds(raw []byte) told {
	is, _ := holdsAlike(raw)
	return is
}

// holdsAlike is holds; alike is true where the line would hold the same with any other
// decimal digits in their places.
func holdsAlike(raw []byte) (is told, alike bool) {
	s := sighting{v: generalVocabulary()}
	s.look(string(raw[:min(len(raw), tolerantWithin)]))
	s.remark = remark(raw)
	return told{fields: s.fields(), uid: s.uid}, !s.which
}

// twoDecimals prints 0 to 1.
func twoDecimals(v float64) string {
	n := int(v*100 + 0.5)
	if n == 100 {
		return "1.00"
	}
	return string([]byte{'0', '.', byte('0' + n/10), byte('0' + n%10)})
}

// look goes over the line once.
func (s *sighting) look(text string) {
	for i := 0; i < len(text); {
		n, meaning := 0, ideas(0)
		if isLetter(text[i]) {
			n, meaning = s.v.wordAt(text[i:])
		}
		// A run of hexadecimal digits looks like a word and may be a value.
		startsValue := isHexDigit(text[i]) && (i == 0 || !isWordByte(text[i-1]))
		if startsValue {
			if m := s.value(text, i); m > 0 {
				i += m
				continue
			}
		}
		switch {
		case n > 0 && i > 0 && isDigit(text[i-1]):
			i += n // a unit
		case n > 0:
			s.word(meaning)
			i += n
			for i < len(text) && isWordByte(text[i]) { // the number in a name, such as reader1
				i++
			}
		case isDigit(text[i]):
			i += s.digits(text, i)
		default:
			i++
		}
	}
}

// word takes a word's ideas.
func (s *sighting) word(meaning ideas) {
	v := s.v
	if meaning.any(v.list|v.tag) && s.number != "" {
		s.which = true
		s.counted(s.number)
	}
	if meaning.any(v.on|v.off) && s.coil != "" && s.bit == "" {
		s.bit = "on"
		if meaning.any(v.off) {
			s.bit = "off"
		}
	}
	s.ideas |= meaning
	s.last, s.number = meaning, ""
	s.words++
}

// value takes a tag's identity, an address or a version value that begins at i and
// returns its length, 0 where none does.
func (s *sighting) value(text string, i int) int {
	t := text[i:]
	if len(t) > 1 && t[1]|0x20 == 'x' {
		s.which = true // 0x or not
	}
	if n := ipAt(t); n > 0 {
		s.which = true
		if v, err := dottedIP(t[:n]); err == nil {
			s.address(v)
			return n
		}
	}
	n, groups := pairsAt(t)
	if groups == 6 && t[2] != ' ' {
		s.which = true
		if v, err := colonMAC(t[:n]); err == nil {
			if s.mac == "" {
				s.mac = v
			}
			s.ideas |= valueMAC
			return n
		}
	}
	if groups >= 2 && inDump(text, i, n) {
		s.last, s.number = 0, ""
		return n
	}
	if n := s.identity(t, n, groups); n > 0 {
		return n
	}
	return s.hexByte(t)
}

// address sorts an address by the word before it.
func (s *sighting) address(v string) {
	to := &s.ip
	switch {
	case s.last.any(s.v.mask), strings.HasPrefix(v, "255."):
		to = &s.mask
	case s.last.any(s.v.gateway):
		to = &s.gateway
	}
	if *to == "" {
		*to = v
	}
	s.ideas |= valueIP
	s.last, s.number = 0, ""
}

// identity takes a tag's identity: digits of both sorts, or a list of numbers, or
// whatever stands right behind a word for a tag.
func (s *sighting) identity(t string, pairs, groups int) int {
	n := pairs
	if groups < 2 {
		n = hexAt(t)
	}
	named := s.last.any(s.v.tag | s.v.master)
	if list := numbersAt(t); list > n {
		n = list
	} else if n > 0 && !mixedDigits(t[:n]) && !named {
		n = 0
	}
	if n == 0 {
		return 0
	}
	s.which = true
	if groups == mostPairs && n == pairs && n+1 < len(t) && isHexDigit(t[n+1]) {
		return 0 // a dump of memory
	}
	u, err := ParseUID(t[:n])
	if err != nil || u.Ambiguous() || !named && sameBytes(u.Bytes()) {
		return 0
	}
	if s.uid == nil {
		s.uid = &u
	}
	s.ideas |= valueUID
	s.last, s.number = 0, ""
	return n
}

// hexByte takes a byte in hexadecimal that is marked as such, or that stands
// behind a word for a version.
func (s *sighting) hexByte(t string) int {
	n := 0
	for n < len(t) && n < 5 && isWordByte(t[n]) {
		n++
	}
	if n < len(t) && (isWordByte(t[n]) || t[n] == '.') {
		return 0
	}
	marked := n > 1 && t[0] == '0' && t[1]|0x20 == 'x' || n == 3 && t[2]|0x20 == 'h'
	if !marked && (n != 2 || !s.last.any(s.v.version)) {
		return 0
	}
	s.which = true
	c, err := ParseChipVersion(t[:n])
	if err != nil {
		return 0
	}
	s.chip(c)
	return n
}

func (s *sighting) chip(c Chip) {
	if s.version == "" && s.ideas.any(s.v.version|s.v.identity|s.v.chip) {
		s.version = hexText(c.Value)
	}
	s.ideas |= valueHex
	if c.Family != ChipUnlisted {
		s.ideas |= valueVersion
	}
	s.last, s.number = 0, ""
}

func hexText(b byte) string { return "0x" + string(upperHex[b>>4]) + string(upperHex[b&15]) }

// digits takes a number, or passes over digits that are more than a number: a
// clock, a date, a version with dots.
func (s *sighting) digits(text string, i int) int {
	n, dots, other := 0, 0, false
	for ; i+n < len(text); n++ {
		c := text[i+n]
		if isDigit(c) {
			continue
		}
		if strings.IndexByte(".:-/T", c) < 0 || i+n+1 == len(text) || !isDigit(text[i+n+1]) {
			break
		}
		if c == '.' {
			dots++
		} else {
			other = true
		}
	}
	whole := i+n == len(text) || !isLetter(text[i+n])
	switch {
	case other || dots > 2:
	case dots > 0:
		if s.words > 0 {
			s.ideas |= valueDotted
		}
	case s.words == 0 && (i > 0 || n > 4 || i+n == len(text) || text[i+n] != ' '):
		// In front of the first word stands a clock or a count of ticks.
	case whole:
		s.plain(text[i : i+n])
		// "7 tags" counts tags; "slot=2 tag=none" does not.
		if i > 0 && text[i-1] != ' ' || i+n == len(text) || text[i+n] != ' ' {
			s.number = ""
		}
		return n
	}
	s.last, s.number = 0, ""
	return n
}

// counted takes how many there are.
func (s *sighting) counted(n string) {
	if s.count == "" {
		s.count = n
	}
	s.ideas |= valueCount
}

// plain takes a decimal number.
func (s *sighting) plain(digits string) {
	v := s.v
	value := strings.TrimLeft(digits, "0")
	if value == "" {
		value = "0"
	}
	if s.coil != "" || s.ideas.any(v.coil|v.version) || s.last.any(v.result|v.count|v.list|v.tag|v.link|v.error) {
		s.which = true
	}
	switch {
	case s.ideas.any(v.coil) && s.coil == "":
		s.coil = value
	case s.coil != "" && s.bit == "" && (value == "0" || value == "1"):
		s.bit = map[string]string{"0": "off", "1": "on"}[value]
		s.ideas |= valueBit
	case s.last.any(v.result) && s.result == "":
		s.result = value
	case s.last.any(v.count) && s.ideas.any(v.list|v.tag), s.last.any(v.list|v.tag) && s.words < 4:
		s.counted(value)
	case s.last.any(v.link) && linkState(v, s.last, value) != 0:
		s.ideas |= linkState(v, s.last, value)
	case s.last.any(v.error) && value == "0":
		s.ideas &^= v.error
	case s.ideas.any(v.version) && s.version == "":
		// Some programs print the register as a decimal number.
		if b, err := strconv.ParseUint(value, 10, 8); err == nil && ChipVersion(byte(b)).Family != ChipUnlisted && len(value) == 3 {
			s.chip(ChipVersion(byte(b)))
			return
		}
	}
	s.ideas |= valueNumber
	s.last, s.number = 0, value
}

// linkState is what a number says of a network link, as open network libraries number
// its states: 0 unknown, 1 on, 2 off.
func linkState(v *vocabulary, of ideas, value string) ideas {
	switch {
	case !of.any(v.link):
	case value == "1":
		return v.up
	case value == "2":
		return v.down
	}
	return 0
}

// fields are the line's fields, nil where it holds nothing.
func (s *sighting) fields() (held fields) {
	v := s.v
	put := func(name, value string) {
		if value == "" {
			return
		}
		if held == nil {
			held = make(fields, 0, 6)
		}
		held = held.with(name, value)
	}
	if s.uid != nil {
		put("uid", s.uid.String())
	}
	put("ip", s.ip)
	put("gateway", s.gateway)
	put("mask", s.mask)
	put("mac", s.mac)
	put(FieldVersion, s.version)
	put(FieldResult, s.result)
	put(FieldCount, s.count)
	if s.bit != "" {
		put("coil", s.coil)
		put("value", s.bit)
	}
	switch good, bad := s.ideas.any(v.good|v.allow), s.ideas.any(v.error|v.deny|v.missing|v.down); {
	case bad, good && s.ideas.any(v.not):
		put(FieldOutcome, "failure")
	case good:
		put(FieldOutcome, "success")
	}
	kind, sure := v.likely(s.ideas)
	if s.remark {
		sure /= 2
	}
	if sure >= sureAtLeast {
		if kind == KindResetCause {
			put("cause", s.cause())
		}
		put(FieldGuess, string(kind))
		put(FieldSure, twoDecimals(sure))
	}
	return held
}

// cause is what a line that tells why the board starts tells, in the events' own words;
// "" where it tells none, or several.
func (s *sighting) cause() string {
	is := ""
	for _, c := range []struct {
		idea ideas
		name string
	}{{s.v.brownout, "brown-out"}, {s.v.watchdog, "watchdog"}, {s.v.power, "power-on"}} {
		switch {
		case !s.ideas.any(c.idea):
		case is != "":
			return ""
		default:
			is = c.name
		}
	}
	return is
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// numbersAt is how long a list of 4, 7 or 10 decimal numbers with commas between
// them is, or of one more, which is their check value.
func numbersAt(s string) int {
	n, numbers := 0, 0
	for n < len(s) {
		start := n
		for n < len(s) && isDigit(s[n]) {
			n++
		}
		if n == start || n-start > 3 {
			return 0
		}
		numbers++
		if n+1 >= len(s) || s[n] != ',' || !isDigit(s[n+1]) {
			break
		}
		n++
	}
	if n < len(s) && isWordByte(s[n]) {
		return 0
	}
	switch numbers {
	case uidSingle, uidSingle + 1, uidDouble, uidTriple:
		return n
	}
	return 0
}

// remark reports whether a line begins as remarks and commands do that people leave
// in what they paste.
func remark(raw []byte) bool {
	text := raw[skipBlanks(raw, 0):]
	if len(text) == 0 || isWordByte(text[0]) {
		return false
	}
	for _, begin := range []string{"(", "# ", "// ", "; ", "-- ", "$ ", "* ", "> "} {
		if len(text) >= len(begin) && string(text[:len(begin)]) == begin {
			return true
		}
	}
	return false
}

// sameBytes reports whether all bytes are equal, as no tag's are.
func sameBytes(b []byte) bool {
	for _, c := range b {
		if c != b[0] {
			return false
		}
	}
	return true
}
