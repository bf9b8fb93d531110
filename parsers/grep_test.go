package parsers

import (
	"strings"
)

// grepPattern is a wording as an extended regular expression of POSIX, over bytes
// (LC_ALL=C), for a line that may end in a carriage return.
func grepPattern(p *pattern, prefixes []*pattern) string {
	body := func(p *pattern) string {
		var b strings.Builder
		for _, e := range p.elements {
			b.WriteString(posix(e))
		}
		return b.String()
	}
	var pre strings.Builder
	for i, p := range prefixes {
		if i > 0 {
			pre.WriteByte('|')
		}
		pre.WriteString(body(p))
	}
	if pre.Len() > 0 {
		return "^[ \t]*((" + pre.String() + ")[ \t]*)?" + body(p) + "[ \t]*\r?$"
	}
	return "^[ \t]*" + body(p) + "[ \t]*\r?$"
}

func posix(e element) string {
	switch {
	case e.hold != nil && e.hold.typ == typeListed:
		var texts []string
		for _, text := range e.hold.texts() {
			var p pattern
			p.literal(text)
			var b strings.Builder
			for _, e := range p.elements {
				b.WriteString(posix(e))
			}
			texts = append(texts, b.String())
		}
		return "(" + strings.Join(texts, "|") + ")"
	case e.hold != nil:
		return "(" + map[placeholderType]string{
			typeUID:   posixUID + ")*" + posixLast,
			typePairs: posixUID + "){3,}" + posixLast,
			typeHex8:  `(0[xX])?[0-9A-Fa-f]{1,2}[hH]?`,
			typeDec:   `[0-9]+`,
			typeIP:    `[0-9]{1,3}(\.[0-9]{1,3}){3}\.?(:[0-9]{1,5})?`,
			typeMAC:   `[0-9A-Fa-f]{1,2}([.:-][0-9A-Fa-f]{1,2}){5}|[0-9A-Fa-f]{12}`,
			typeWord:  "[!-~\x80-\xFF]+",
			typeStem:  `[A-Za-z]*`,
			typeClock: `[0-9][0-9:.,TZ+-]*`,
			typeRest:  "[^ \t](.*[^ \t\r])?",
		}[e.hold.typ] + ")"
	case e.lit == 0:
		return "[ \t]+"
	case isLetter(e.lit):
		return "[" + string(e.lit|0x20) + string(e.lit&^0x20) + "]"
	case strings.IndexByte(`.[]{}()\*+?^$|`, e.lit) >= 0:
		return `\` + string(e.lit)
	}
	return string(e.lit)
}

const (
	posixUID  = `[([{'"]*(0[xX])?[0-9A-Fa-f]+(([ ` + "\t" + `]+|[ ` + "\t" + `'"]*[,:-][ ` + "\t" + `'"]*)((0[xX])?([0-9A-Fa-f]{1,2}|[0-2][0-9]{2}|00[0-9A-Fa-f]|[0-9A-Fa-f]{2}(0[0-9A-Fa-f]){1,3}))`
	posixLast = `[])}'"]*`
)
