package diagnose

import (
	"regexp"
	"strconv"
	"strings"
)

// A tag's UID is a key. What is handed to others keeps its beginning and its length, so
// that one tag can still be told from another, and no more.

var (
	uidPairs  = lazily(`(?i)\b[0-9a-f]{1,2}(?:([ :\-])[0-9a-f]{1,2}){3,9}\b`)
	uidJoined = lazily(`(?i)\b(?:0x)?[0-9a-f]{7,20}\b`)
	uidList   = lazily(`\b\d{1,3}(?:[,:\-]\d{1,3}){3,9}\b`)
	uidQuoted = lazily(`(?i)0x[0-9a-f]{1,2}(?:\W{1,4}0x[0-9a-f]{1,2}){3,9}`)
	uidNumber = lazily(`\b\d{9,14}\b`)
)

// Shorten takes identities of tags out of a text: of each only the first byte and the
// number of digits stay. Addresses of networks and times stay; what may be a tag or not
// is taken out.
func Shorten(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		at := leadingClock().FindString(line)
		b.WriteString(at)
		rest := line[len(at):]
		for _, form := range []func() *regexp.Regexp{uidQuoted, uidPairs, uidList, uidJoined, uidNumber} {
			rest = form().ReplaceAllStringFunc(rest, shorter)
		}
		b.WriteString(rest)
	}
	return b.String()
}

// shorter is a print of a UID without most of it; a MAC, an address and plain words stay.
func shorter(s string) string {
	groups := strings.FieldsFunc(s, func(c rune) bool { return c == ' ' || c == ':' || c == '-' || c == ',' })
	if len(groups) == 6 || !strings.ContainsAny(s, "0123456789") {
		return s
	}
	digits := 0
	for _, c := range s {
		if c >= '0' && c <= '9' || c >= 'a' && c <= 'f' || c >= 'A' && c <= 'F' {
			digits++
		}
	}
	if len(groups) == 1 {
		head := strings.TrimPrefix(strings.TrimPrefix(s, "0x"), "0X")
		return head[:2] + "…(" + strconv.Itoa(digits) + " digits)"
	}
	return groups[0] + "…(" + strconv.Itoa(len(groups)) + " bytes)"
}
