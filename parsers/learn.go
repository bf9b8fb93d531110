package parsers

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A Shape is what console lines have in common that no wording knows: the text that
// stays, and between it the values that vary.
type Shape struct {
	Says    string // as a wording says it, with placeholders
	Count   int    // lines of that shape
	Example string // the first of them
	Line    int    // its number in the capture
	// Kind is what the lines most likely report, and Sure how sure that is; "" where
	// nothing speaks for any.
	Kind Kind
	Sure float64
	// Fields are what such a line holds whatever its values are, such as that a coil
	// goes on.
	Fields map[string]string
}

// A Learner groups unknown lines by their shape. It is not safe for concurrent use.
//
// It keeps a few thousand shapes, far more than a firmware has. Of text that is none of a
// firmware's, each line may be another shape: then the shapes that came most rarely so
// far are given up (lossy counting: Manku and Motwani, Approximate frequency counts over
// data streams, VLDB 2002), and what is left has at least the counts that it tells.
type Learner struct {
	shapes map[string]*grouped
	rare   int
	same   memo[placed] // by the lines themselves
	alike  memo[placed] // by lines with all digits alike
	zeros  []byte
}

// How many lines a learner remembers, and how many sorts of lines that differ in digits.
const (
	learnerRemembers = 1 << 11
	learnerAlike     = 1 << 9
	learnerShapes    = 1 << 11
)

// grouped is one shape's lines so far.
type grouped struct {
	parts   []part
	values  []map[string]bool // texts of each value, few of them
	count   int
	example Event
	votes   map[Kind]*float64
	text    string
}

// placed is what a line was found to be.
type placed struct {
	in     *grouped
	values [][2]int // where they are in the line
	vote   *float64 // nil for a line that seems to report nothing
	sure   float64
}

// A part of a line is literal text, or a value.
type part struct {
	text string
	typ  placeholderType // "" for literal text
}

const (
	mostValues  = 8   // texts of one value that are told apart
	learnWithin = 300 // bytes of a line; a longer one is no report of a board
	sameIfSeen  = 3   // lines in which a number has to be the same to belong to the text
)

// Take looks at an event; all but unknown lines of plain text are passed over.
func (l *Learner) Take(e Event) { l.Look(&e) }

// Look is Take for an event that is lent.
func (l *Learner) Look(e *Event) {
	if e.Kind != KindUnknown || len(e.Raw) == 0 || len(e.Raw) > learnWithin || !plainText(e.Raw) {
		return
	}
	if e.told != nil { // not what the text alone says
		is, _ := l.place(e)
		is.count(e.Raw)
		return
	}
	of := e.sum
	if of == 0 {
		of = sumOf(e.Raw)
	}
	l.same.lines, l.alike.lines = learnerRemembers, learnerAlike
	slot := l.same.slot(of)
	if slot.knows(of, e.Raw) {
		slot.is.count(nil) // its values are noted
		return
	}
	l.zeros, of = digitsAlike(l.zeros, e.Raw)
	sort := l.alike.slot(of)
	if sort.knows(of, l.zeros) {
		sort.is.count(e.Raw)
		return
	}
	is, alike := l.place(e)
	is.count(e.Raw)
	if alike {
		if kept := sort.keep(of, l.zeros); kept != nil {
			*kept = is
		}
		return
	}
	if of = e.sum; of == 0 {
		of = sumOf(e.Raw)
	}
	if kept := slot.keep(of, e.Raw); kept != nil {
		*kept = is
	}
}

// place finds a line's group and its values; alike is true where other digits in their
// places would make it neither another group's nor say another thing.
func (l *Learner) place(e *Event) (is placed, alike bool) {
	parts, alike := partsOf(string(e.Raw))
	at := skipBlanks(e.Raw, 0)
	for _, p := range parts {
		if p.typ != "" {
			is.values = append(is.values, [2]int{at, at + len(p.text)})
		} else if strings.ContainsAny(p.text, "0123456789") {
			alike = false
		}
		at += len(p.text)
	}
	key := shapeKey(parts)
	if l.shapes == nil {
		l.shapes = map[string]*grouped{}
	}
	g := l.shapes[key]
	if g == nil {
		if len(l.shapes) == learnerShapes {
			l.giveUp()
		}
		g = &grouped{parts: parts, example: *e, votes: map[Kind]*float64{}, text: string(e.Raw)}
		g.example.Raw = bytes.Clone(e.Raw)
		for range is.values {
			g.values = append(g.values, map[string]bool{})
		}
		l.shapes[key] = g
	}
	is.in = g
	kind, sure := e.Guess()
	if kind != "" {
		if g.votes[kind] == nil {
			g.votes[kind] = new(float64)
		}
		is.vote, is.sure = g.votes[kind], sure
	}
	if alike {
		_, alike = holdsAlike(e.Raw)
	}
	return is, alike
}

// giveUp lets go of at least half of the shapes, the rarest.
func (l *Learner) giveUp() {
	counts := make([]int, 0, len(l.shapes))
	for _, g := range l.shapes {
		counts = append(counts, g.count)
	}
	slices.Sort(counts)
	most := counts[len(counts)/2]
	for key, g := range l.shapes {
		if g.count <= most {
			l.rare += g.count
			delete(l.shapes, key)
		}
	}
	l.same, l.alike = memo[placed]{}, memo[placed]{} // they lead to what is gone
}

// Rare is how many lines were of shapes that came too rarely to be kept.
func (l *Learner) Rare() int { return l.rare }

// count takes one more line that is placed so, with its values where raw is not nil.
func (is *placed) count(raw []byte) {
	is.in.count++
	if is.vote != nil {
		*is.vote += is.sure
	}
	if raw == nil {
		return
	}
	for i, at := range is.values {
		if texts := is.in.values[i]; len(texts) < mostValues && !texts[string(raw[at[0]:at[1]])] {
			texts[string(raw[at[0]:at[1]])] = true
		}
	}
}

// Shapes are those seen so far, the most frequent first, and of those as frequent the
// one that came first.
func (l *Learner) Shapes() []Shape {
	var shapes []Shape
	for _, g := range l.shapes {
		shapes = append(shapes, g.shape())
	}
	slices.SortFunc(shapes, func(a, b Shape) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Line, b.Line), strings.Compare(a.Says, b.Says))
	})
	return shapes
}

func (g *grouped) shape() Shape {
	s := Shape{Count: g.count, Example: g.text, Line: g.example.Lines[0]}
	for kind, sum := range g.votes {
		if sure := *sum / float64(g.count); sure > s.Sure || sure == s.Sure && kind < s.Kind {
			s.Kind, s.Sure = kind, sure
		}
	}
	if s.Kind == KindCoilWritten && g.example.Field("value") != "" && g.example.Field("coil") != "" {
		s.Fields = map[string]string{"value": g.example.Field("value")}
	}
	s.Says = g.says(s.Kind)
	return s
}

// SaysFor is what a shape says as a line of another kind than the one proposed: the
// fields that its values are differ.
func (l *Learner) SaysFor(s Shape, kind Kind) string {
	for _, g := range l.shapes {
		if g.text == s.Example && g.example.Lines[0] == s.Line {
			return g.says(kind)
		}
	}
	return s.Says
}

// says writes the shape as a wording of a line of a kind.
func (g *grouped) says(kind Kind) string {
	var b strings.Builder
	used := map[string]bool{}
	i := 0
	for k, p := range g.parts {
		if p.typ == "" {
			b.WriteString(strings.NewReplacer("{", "{{", "}", "}}").Replace(p.text))
			continue
		}
		same := p.typ == typeDec && len(g.values[i]) == 1 && g.count >= sameIfSeen
		i++
		before := ""
		if k > 0 {
			before = g.parts[k-1].text
		}
		name := g.fieldFor(p, before, kind)
		if name == "_" {
			name = g.toldFor(p, i-1, kind)
		}
		switch {
		case same && name == "_":
			b.WriteString(p.text)
			continue
		case used[name]:
			name = "_"
		}
		used[name] = name != "_"
		switch name {
		case "uid", "value":
			b.WriteString("{" + name + "}")
		case "version":
			fmt.Fprintf(&b, "{%s:%s}", name, typeHex8)
		default:
			fmt.Fprintf(&b, "{%s:%s}", name, p.typ)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// fieldFor is the field that a value is for a line of a kind, "_" where it is none.
func (g *grouped) fieldFor(p part, before string, kind Kind) string {
	before = strings.ToLower(strings.TrimRight(before, " :=#[(-"))
	switch p.typ {
	case typeUID:
		return "uid"
	case typeMAC:
		if kind == KindAddress {
			return "mac"
		}
	case typeIP:
		switch kind {
		case KindControllerUp, KindControllerDown:
			return "address"
		case KindAddress:
			for _, name := range []string{"mask", "gateway", "ip"} {
				if g.example.Field(name) != "" && strings.HasPrefix(p.text, g.example.Field(name)) {
					return name
				}
			}
		}
	case typeHex8:
		if kind == KindReaderVersion {
			return "version"
		}
	case typeDec:
		switch {
		case kind.ofTag() && len(p.text) >= longNumber:
			return "uid"
		case strings.HasSuffix(before, "reader"):
			return "reader"
		case (kind == KindCoilWritten || kind == KindCoilFailed) && p.text == g.example.Field("coil"):
			return "coil"
		}
	}
	return "_"
}

// toldFor is the field that the nth value is for somebody who knows that the line is of a
// kind, where the line itself does not say it: the coil and then what was written to it,
// or a chip's version that says the hexadecimal number of a known one. "_" where it is
// none.
func (g *grouped) toldFor(p part, n int, kind Kind) string {
	if p.typ != typeDec {
		return "_"
	}
	switch kind {
	case KindReaderVersion:
		c, err := ParseChipVersion(p.text)
		if len(p.text) == 2 && err == nil && c.Family != ChipUnlisted {
			return "version"
		}
	case KindCoilWritten, KindCoilFailed:
		numbers := g.numbers()
		switch {
		case numbers == nil || len(numbers) > 2 || g.example.Field("coil") != "":
		case n == numbers[0] && !g.bits(n):
			return "coil"
		case len(numbers) == 2 && n == numbers[1] && kind == KindCoilWritten && g.bits(n) && !g.bits(numbers[0]):
			return "value"
		}
	}
	return "_"
}

// numbers are which of the values are numbers; nil where some value is neither that nor a
// time.
func (g *grouped) numbers() (numbers []int) {
	n := 0
	for _, p := range g.parts {
		switch p.typ {
		case "":
			continue
		case typeDec:
			numbers = append(numbers, n)
		case typeClock:
		default:
			return nil
		}
		n++
	}
	return numbers
}

// bits reports whether the nth value was only ever 0 or 1.
func (g *grouped) bits(n int) bool {
	for text := range g.values[n] {
		if text != "0" && text != "1" {
			return false
		}
	}
	return true
}

// shapeKey is the same for lines of one shape: their text in lower case with runs of
// blanks as one, and the types of their values.
func shapeKey(parts []part) string {
	var b strings.Builder
	for _, p := range parts {
		if p.typ != "" {
			b.WriteString("\x00" + string(p.typ) + "\x00")
			continue
		}
		b.WriteString(strings.ToLower(p.text))
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// partsOf takes a line apart; alike is true where it would come apart in the same places
// with other decimal digits in theirs.
func partsOf(line string) (parts []part, alike bool) {
	line = strings.Trim(line, " \t")
	alike = !prefixHex(line)
	begin := 0 // of the literal text that is under way
	add := func(at, n int, typ placeholderType) {
		if at > begin {
			parts = append(parts, part{text: line[begin:at]})
		}
		parts = append(parts, part{line[at : at+n], typ})
		begin = at + n
	}
	for i := 0; i < len(line); {
		if i > 0 && isWordByte(line[i-1]) {
			i++
			continue
		}
		n, typ, which := valueAt(line[i:], i == 0)
		alike = alike && !which
		if n == 0 {
			i++
			continue
		}
		// Two values next to each other are one that is not known.
		if last := len(parts) - 1; last >= 0 && begin == i && parts[last].typ != "" {
			i++
			continue
		}
		add(i, n, typ)
		i += n
	}
	if begin < len(line) {
		parts = append(parts, part{text: line[begin:]})
	}
	return parts, alike
}

// prefixHex reports whether a digit stands before an x, which is a prefix or none.
func prefixHex(line string) bool {
	for i := 1; i < len(line); i++ {
		if line[i]|0x20 == 'x' && isDigit(line[i-1]) {
			return true
		}
	}
	return false
}

// valueAt is the value that a text begins with; n is 0 where it begins with none. which is
// true where other decimal digits might begin another.
func valueAt(s string, first bool) (n int, typ placeholderType, which bool) {
	if first {
		if n := clockAt(s); n > 0 {
			return n, typeClock, false
		}
	}
	if n := munchIP([]byte(s)); n > 0 && (n == len(s) || !isWordByte(s[n])) {
		return n, typeIP, false
	}
	pairs, groups := pairsAt(s)
	switch {
	case groups == 6 && s[2] != ' ':
		return pairs, typeMAC, false
	case unpaddedMACAt(s) > 0:
		return unpaddedMACAt(s), typeMAC, false
	case groups == uidSingle || groups == uidDouble || groups == uidTriple:
		return pairs, typeUID, false
	}
	if n := hexAt(s); n > 0 && (mixedDigits(s[:n]) || strings.HasPrefix(s, "0x")) {
		return n, typeUID, false
	}
	list, which := bytesAt(s)
	zeros, either := zeroOrBlankAt(s)
	which = which || either
	if n := max(numbersAt(s), list, joinedAt(s), zeros); n > 0 {
		return n, typeUID, which
	}
	if len(s) > 2 && s[0] == '0' && (s[1] == 'x' || s[1] == 'X') {
		if n := 2 + run([]byte(s[2:]), 2, isHexDigit); n > 2 && (n == len(s) || !isWordByte(s[n])) {
			return n, typeHex8, which
		}
		return 0, "", which
	}
	n = run([]byte(s), 20, isDigit)
	if n == 0 || n < len(s) && isWordByte(s[n]) {
		return 0, "", which
	}
	return n, typeDec, which
}

// longNumber is how many digits a whole UID has as one decimal number: those of four
// bytes have eight to ten, unless the first byte is next to nothing.
const longNumber = 8

// joinedAt is how long a run of digits is that may be a UID printed without padding:
// too long for a register's value, and of letters and decimal digits both.
func joinedAt(s string) int {
	n := run([]byte(s), 2*uidTriple, isHexDigit)
	if n < 6 || !mixedDigits(s[:n]) || n < len(s) && isWordByte(s[n]) {
		return 0
	}
	return n
}

// zeroOrBlankAt is how long 4, 7 or 10 bytes are in front of each of which stands a blank
// or, where one digit is all it has, a 0 in its place: "5C0A 91 E3". which is true where
// the zeros settled that.
func zeroOrBlankAt(s string) (length int, which bool) {
	n, count, joined, zeros := 0, 0, false, true
	for count < uidTriple && n+2 <= len(s) && isHexDigit(s[n]) && isHexDigit(s[n+1]) {
		if count > 0 && s[n-1] != ' ' {
			joined = true
			zeros = zeros && s[n] == '0'
		}
		count++
		if n += 2; n+1 < len(s) && s[n] == ' ' && isHexDigit(s[n+1]) {
			n++
		}
	}
	if !joined || n < len(s) && isWordByte(s[n]) || !mixedDigits(s[:n]) || !strings.Contains(s[:n], " ") {
		return 0, false
	}
	switch count {
	case uidSingle, uidDouble, uidTriple:
		if zeros {
			return n, true
		}
		return 0, true
	}
	return 0, false
}

// bytesAt is how long 4, 7 or 10 bytes with the same sign between each two are, padded
// or not: in hexadecimal, or in decimal, where one more may be their check value.
// Digits that are as good the one as the other are neither. which is
// true where that was settled by how large the numbers are.
func bytesAt(s string) (length int, which bool) {
	n, count, long, letters, wide := 0, 0, false, false, false
	for {
		digits := run([]byte(s[n:]), 4, isHexDigit)
		if digits == 0 || digits > 3 {
			return 0, false
		}
		letters = letters || strings.ContainsFunc(s[n:n+digits], func(r rune) bool { return !isDigit(byte(r)) })
		long = long || digits == 3
		wide = wide || digits == 3 && s[n:n+3] > "255"
		n += digits
		if count++; n+1 >= len(s) || !isHexDigit(s[n+1]) || strings.IndexByte(" :-", s[n]) < 0 || count > 1 && s[n] != s[firstSign(s)] {
			break
		}
		n++
	}
	if letters == long || n < len(s) && isWordByte(s[n]) {
		return 0, false
	}
	switch count {
	case uidSingle, uidDouble, uidTriple:
	case uidSingle + 1, uidDouble + 1:
		if !long {
			return 0, false
		}
	default:
		return 0, false
	}
	if wide {
		n = 0
	}
	return n, long
}

// firstSign is where the first byte of a list ends.
func firstSign(s string) int { return run([]byte(s), 3, isHexDigit) }

// unpaddedMACAt is how long a hardware address is some of whose bytes have one digit.
func unpaddedMACAt(s string) int {
	n := munchMAC([]byte(s))
	if n < len("0:0:0:0:0:0") || !strings.ContainsAny(s[:n], ":-.") || n < len(s) && (isWordByte(s[n]) || strings.IndexByte(":-.", s[n]) >= 0 && n+1 < len(s) && isWordByte(s[n+1])) {
		return 0
	}
	return n
}

// clockAt is how long a time stamp or a count of ticks at the beginning of a line is.
func clockAt(s string) int {
	n := 0
	for n < len(s) && (isDigit(s[n]) || n > 0 && isClockSign(s[n])) {
		n++
	}
	for n > 0 && !isDigit(s[n-1]) { // what ends a sentence is none of it
		n--
	}
	stamp := strings.ContainsAny(s[:n], ":.") || n >= 4
	if !stamp || n == len(s) || s[n] != ' ' && s[n] != ']' && s[n] != ':' {
		return 0
	}
	return n
}
