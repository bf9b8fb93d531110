package parsers

import (
	"regexp"
	"strings"
)

// What unknown text is searched for. Only shapes that stand for themselves are
// taken; a run of digits may be anything.
var (
	holdsMAC   = regexp.MustCompile(`\b[0-9A-Fa-f]{2}(?:[.:-][0-9A-Fa-f]{2}){5}\b`)
	holdsIP    = regexp.MustCompile(`\b[0-9]{1,3}(?:\.[0-9]{1,3}){3}\b`)
	holdsPairs = regexp.MustCompile(`\b[0-9A-Fa-f]{2}(?:([ :-])[0-9A-Fa-f]{2})(?:[ :-][0-9A-Fa-f]{2}){2,8}\b`)
	holdsHex   = regexp.MustCompile(`\b(?:0[xX])?(?:[0-9A-Fa-f]{8}|[0-9A-Fa-f]{14}|[0-9A-Fa-f]{20})\b`)
)

// holdsWithin bounds how much of a line is searched.
const holdsWithin = 512

// holds finds what a line holds that no wording explains: a tag's identity, a
// hardware and a network address, the first of each.
func holds(raw []byte) (fields map[string]string, uid *UID) {
	text := string(raw[:min(len(raw), holdsWithin)])
	put := func(name, value string) {
		if fields == nil {
			fields = map[string]string{}
		}
		fields[name] = value
	}
	if m := holdsMAC.FindString(text); m != "" {
		if v, err := colonMAC(m); err == nil {
			put("mac", v)
			text = strings.Replace(text, m, "\x00", 1)
		}
	}
	if m := holdsIP.FindString(text); m != "" {
		if v, err := dottedIP(m); err == nil {
			put("ip", v)
			text = strings.Replace(text, m, "\x00", 1)
		}
	}
	for _, m := range append(holdsPairs.FindAllString(text, -1), holdsHex.FindAllString(text, -1)...) {
		mixed := strings.ContainsAny(m, "ABCDEFabcdef") && strings.ContainsAny(m, "0123456789")
		if u, err := ParseUID(m); err == nil && mixed && !u.Ambiguous() {
			put("uid", u.String())
			return fields, &u
		}
	}
	return fields, nil
}
