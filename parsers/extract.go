package parsers

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
	f := finder{elements: p.elements, line: line}
	ok = f.from(0, skipBlanks(line, 0), 0)
	return f.at, ok
}

type finder struct {
	elements []element
	line     []byte
	at       spans
}

// from reads the elements from number k on at position i; hold is the number of the
// next placeholder.
func (f *finder) from(k, i, hold int) bool {
	line := f.line
	for ; k < len(f.elements); k++ {
		e := &f.elements[k]
		switch {
		case e.hold == nil && e.lit != 0:
			if i >= len(line) || !sameLetter(line[i], e.lit) {
				return false
			}
			i++
		case e.hold == nil: // a run of blanks
			n := skipBlanks(line, i)
			if n == i {
				return false
			}
			i = n
		case e.hold.typ == typeUID || e.hold.typ == typePairs:
			return f.identity(k, i, hold)
		default:
			n := munch(e.hold.typ, line[i:])
			if n < 0 {
				return false
			}
			f.at[hold] = [2]int{i, i + n}
			i += n
			hold++
		}
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
	if k+1 < len(f.elements) && (f.elements[k+1].hold != nil || f.elements[k+1].lit != 0) {
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
		if f.elements[k].hold.typ == typePairs && n < 4 {
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
func munch(t placeholderType, text []byte) int {
	n := 0
	switch t {
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

// simple reports whether values can be found without the expression behind prefixes
// as well: a line that begins as the wording does must not begin as a prefix may.
func (p *pattern) simple(prefixes []*pattern) bool {
	if len(p.holds()) > mostHolds {
		return false
	}
	if len(prefixes) == 0 {
		return true
	}
	if p.elements[0].hold != nil || !isLetter(p.elements[0].lit) {
		return false
	}
	for _, pre := range prefixes {
		e := pre.elements[0]
		if e.hold != nil && e.hold.typ != typeClock && e.hold.typ != typeDec || e.hold == nil && isLetter(e.lit) {
			return false
		}
	}
	return true
}
