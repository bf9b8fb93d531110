package parsers

import (
	"bytes"
	"strings"
)

// mostHolds is how many placeholders a wording may have for its values to be found
// without the regular expression; nearly all have one or two.
const mostHolds = 8

// spans are where a line's values stand, by placeholder.
type spans [mostHolds][2]int

// find finds where the values of a line stand that the wording matches, as its
// regular expression would: each part takes as much as it can, and where that leads
// to the end it is what the expression prefers too. ok is false where it does not, or
// where this is not simple enough to be sure; then the expression is asked.
func (p *pattern) find(line []byte) (at spans, ok bool) {
	if !p.plain {
		return at, false
	}
	for _, signs := range p.avoid {
		if bytes.Contains(line, signs) {
			return at, false
		}
	}
	begin := skipBlanks(line, 0)
	f := finder{stretches: p.stretches, line: line}
	if f.from(0, begin, 0) {
		return f.at, true
	}
	for _, pre := range p.before {
		if end := (&finder{stretches: pre.stretches, line: line}).prefix(begin); end > 0 && f.from(0, skipBlanks(line, end), 0) {
			return f.at, true
		}
	}
	return f.at, false
}

// A stretch is what a pattern's elements are once more, for finding values: letters that
// stand together in one.
type stretch struct {
	text []byte       // that must stand there, letters in either case
	hold *placeholder // or a value; without both, a run of blanks
}

// divide makes a pattern's stretches.
func (p *pattern) divide() {
	p.stretches, p.values = nil, nil
	joins := false
	for _, e := range p.elements {
		if e.hold == nil && e.lit != 0 && joins {
			last := &p.stretches[len(p.stretches)-1]
			last.text = append(last.text, e.lit)
			continue
		}
		joins = e.hold == nil && e.lit != 0
		next := stretch{hold: e.hold}
		if joins {
			next.text = []byte{e.lit}
		}
		if e.hold != nil {
			p.values = append(p.values, e.hold)
		}
		p.stretches = append(p.stretches, next)
	}
}

// prefix is where a prefix that begins at i ends, 0 where there is none.
func (f *finder) prefix(i int) int {
	for k := range f.stretches {
		n := f.take(&f.stretches[k], i)
		if n < 0 {
			return 0
		}
		i += n
	}
	return i
}

// take is how many bytes a stretch takes at i, -1 where it does not stand there.
func (f *finder) take(e *stretch, i int) int {
	switch {
	case e.text != nil:
		if len(f.line)-i < len(e.text) {
			return -1
		}
		for k, c := range f.line[i : i+len(e.text)] {
			if c != e.text[k] && !sameLetter(c, e.text[k]) {
				return -1
			}
		}
		return len(e.text)
	case e.hold != nil:
		return munch(e.hold, f.line[i:])
	}
	if n := skipBlanks(f.line, i) - i; n > 0 {
		return n
	}
	return -1
}

type finder struct {
	stretches []stretch
	line      []byte
	at        spans
}

// from reads the stretches from number k on at position i; hold is the number of the
// next placeholder.
func (f *finder) from(k, i, hold int) bool {
	line := f.line
	for ; k < len(f.stretches); k++ {
		e := &f.stretches[k]
		if e.hold != nil && (e.hold.typ == typeUID || e.hold.typ == typePairs) {
			return f.identity(k, i, hold)
		}
		n := f.take(e, i)
		if n < 0 {
			return false
		}
		if e.hold != nil {
			f.at[hold] = [2]int{i, i + n}
			hold++
		}
		i += n
	}
	return skipBlanks(line, i) == len(line)
}

// identity reads a tag's identity and the rest: the digits and as many further groups
// as the rest leaves. Where a group is not a pair of digits it is the expression's.
func (f *finder) identity(k, i, hold int) bool {
	line := f.line
	first := i
	for first < len(line) && isHexDigit(line[first]) {
		first++
	}
	if first == i || first < len(line) && isWordByte(line[first]) {
		return false // brackets, quotes, 0x
	}
	if k+1 < len(f.stretches) && (f.stretches[k+1].hold != nil || f.stretches[k+1].text != nil) {
		return false // what follows may be a part of it
	}
	var ends [mostPairs]int
	n := 1
	ends[0] = first
	for end := first; n < mostPairs; n++ {
		g := end + 1
		if g+2 > len(line) || line[end] != ' ' && line[end] != ':' && line[end] != '-' || !isHexDigit(line[g]) || !isHexDigit(line[g+1]) {
			break
		}
		if g+2 < len(line) && isWordByte(line[g+2]) {
			// A longer word: none of it belongs here unless it could be a group too.
			if wordIsGroup(line[g:]) {
				return false
			}
			break
		}
		end = g + 2
		ends[n] = end
	}
	if end := ends[n-1]; end < len(line) && !endsIdentity(line[end:]) {
		return false
	}
	for ; n > 0; n-- {
		if f.stretches[k].hold.typ == typePairs && n < 4 {
			return false
		}
		f.at[hold] = [2]int{i, ends[n-1]}
		if f.from(k+1, ends[n-1], hold+1) {
			return true
		}
	}
	return false
}

// endsIdentity reports whether what follows the last group can be no further one: the
// signs that may stand between two or behind the last are left to the expression.
func endsIdentity(rest []byte) bool {
	i := skipBlanks(rest, 0)
	if i == 0 {
		return false
	}
	if i == len(rest) {
		return true
	}
	if i == 1 && isWordByte(rest[1]) {
		return !wordIsGroup(rest[1:])
	}
	return !isHexDigit(rest[i]) && isWordByte(rest[i])
}

// wordIsGroup reports whether a word could stand as a group of an identity: it is
// made of hexadecimal digits only, or begins as one with 0x would.
func wordIsGroup(word []byte) bool {
	for i, c := range word {
		switch {
		case isHexDigit(c):
		case i == 1 && word[0] == '0' && (c == 'x' || c == 'X'):
			return true
		case isWordByte(c):
			return false
		default:
			return true
		}
	}
	return true
}

// munch is how many bytes of the text a placeholder of a type takes, -1 where it
// takes none or is not among those that are simple.
func munch(h *placeholder, text []byte) int {
	n := 0
	switch h.typ {
	case typeListed:
		return munchListed(h, text)
	case typeIP:
		return munchIP(text)
	case typeMAC:
		return munchMAC(text)
	case typeDec:
		for n < len(text) && isDigit(text[n]) {
			n++
		}
	case typeWord:
		for n < len(text) && (text[n] > ' ' && text[n] < 0x7F || text[n] >= 0x80) {
			n++
		}
	case typeHex8:
		if len(text) > 2 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X') && isHexDigit(text[2]) {
			n = 2
		}
		digits := n
		for n < len(text) && n < digits+2 && isHexDigit(text[n]) {
			n++
		}
		if n == digits {
			return -1
		}
		if n < len(text) && (text[n] == 'h' || text[n] == 'H') {
			n++
		}
	case typeRest:
		n = len(text)
		for n > 0 && (text[n-1] == ' ' || text[n-1] == '\t') {
			n--
		}
		if n > 0 && (text[0] == ' ' || text[0] == '\t') {
			return -1
		}
	case typeClock:
		for n < len(text) && (isDigit(text[n]) || n > 0 && isClockSign(text[n])) {
			n++
		}
	case typeStem:
		for n < len(text) && isLetter(text[n]) {
			n++
		}
		return n
	default:
		return -1
	}
	if n == 0 {
		return -1
	}
	return n
}

// munchListed takes the first text of a closed list that stands there, the longer ones
// first as the expression has them.
func munchListed(h *placeholder, text []byte) int {
	for _, word := range h.order {
		if len(word) <= len(text) && bytes.EqualFold(text[:len(word)], word) {
			return len(word)
		}
	}
	return -1
}

func munchIP(text []byte) int {
	n := 0
	for octet := range 4 {
		if octet > 0 {
			if n >= len(text) || text[n] != '.' {
				return -1
			}
			n++
		}
		digits := run(text[n:], 3, isDigit)
		if digits == 0 {
			return -1
		}
		n += digits
	}
	if n < len(text) && text[n] == '.' {
		n++
	}
	if n < len(text) && text[n] == ':' {
		if digits := run(text[n+1:], 5, isDigit); digits > 0 {
			n += 1 + digits
		}
	}
	return n
}

func munchMAC(text []byte) int {
	n := 0
	for octet := range 6 {
		if octet > 0 {
			if n >= len(text) || text[n] != ':' && text[n] != '-' && text[n] != '.' {
				n = -1
				break
			}
			n++
		}
		digits := run(text[n:], 2, isHexDigit)
		if digits == 0 {
			n = -1
			break
		}
		n += digits
	}
	if n < 0 && run(text, 12, isHexDigit) == 12 {
		return 12
	}
	return n
}

// run is how many bytes, up to a number, are of a sort.
func run(text []byte, most int, is func(byte) bool) int {
	n := 0
	for n < len(text) && n < most && is(text[n]) {
		n++
	}
	return n
}

func isClockSign(c byte) bool {
	switch c {
	case ':', '.', ',', 'T', 'Z', '+', '-':
		return true
	}
	return false
}

func skipBlanks(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\t') {
		i++
	}
	return i
}

// sameLetter compares bytes, letters in either case.
func sameLetter(a, b byte) bool {
	return a == b || isLetter(a) && a^b == 0x20
}

// simplify says whether values can be found without the expression behind prefixes as
// well: not where a line might begin with one of them in the same way as the
// wording does, which is told by signs that the prefix has and the line must not have.
func (p *pattern) simplify(prefixes []*pattern) {
	p.plain = len(p.values) <= mostHolds
	for _, h := range p.values {
		if h.typ == typeListed && h.order == nil {
			p.plain = p.plain && h.list()
		}
	}
	for _, pre := range prefixes {
		if p.beginsApart(pre) {
			p.before = append(p.before, pre)
			continue
		}
		signs := pre.signs()
		if len(signs) == 0 {
			p.plain = false
			return
		}
		p.avoid = append(p.avoid, signs)
	}
}

// signs are the longest run of literal text without letters and blanks, which a line
// must have that the pattern matches.
func (p *pattern) signs() (longest []byte) {
	var run []byte
	for _, e := range p.elements {
		if e.hold != nil || e.lit <= ' ' || isLetter(e.lit) {
			run = nil
			continue
		}
		if run = append(run, e.lit); len(run) > len(longest) {
			longest = bytes.Clone(run)
		}
	}
	return longest
}

// beginsApart reports whether no line can begin both with the pattern and with a
// prefix: the one with a letter, the other with a digit or a sign.
func (p *pattern) beginsApart(prefix *pattern) bool {
	own, its := p.elements[0], prefix.elements[0]
	if own.hold != nil || !isLetter(own.lit) {
		return false
	}
	if its.hold != nil {
		return its.hold.typ == typeClock || its.hold.typ == typeDec
	}
	return its.lit > ' ' && !isLetter(its.lit)
}

// list puts a closed list in the order in which its texts are tried; false where one
// has a blank in it, which may be any run of blanks.
func (h *placeholder) list() bool {
	for _, text := range h.texts() {
		if strings.ContainsAny(text, " \t") {
			h.order = nil
			return false
		}
		h.order = append(h.order, []byte(text))
	}
	return true
}
