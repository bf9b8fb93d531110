package diagnose

import (
	"encoding/json"
	"sort"
	"strconv"
	"strings"
	"sync"

	"propwright/parsers"
)

// A line is one line of a text, or an event that was made of several, as detectors
// look at it.
type line struct {
	n      int // in the text, from 1
	text   string
	bag    bag
	kind   parsers.Kind // stated or guessed; KindUnknown for neither
	uid    string       // "" for none
	fields map[string]string
	reader string  // index or letter that the line names, "" for none
	at     float64 // seconds on the clock that the line begins with, -1 for none
	remark bool    // a person's word between the lines
	host   bool    // the computer's or another tool's line
	noise  bool
	start  bool // the board starts here
	meant  bool // says itself that all is as it should
}

// sureEnough is how sure a guess must be to count as what the line reports.
const sureEnough = 0.4

// maxLines bounds what is kept of one text; the first half and the last are.
const maxLines = 20000

// newLine makes a line of an event; ok is false where it holds nothing to look at.
func newLine(e parsers.Event) (l line, ok bool) {
	if e.Raw == nil {
		return l, false
	}
	text := strings.TrimSpace(strings.ToValidUTF8(string(e.Raw), "\uFFFD"))
	if text == "" {
		return l, false
	}
	l = line{n: e.Lines[0], text: text, kind: e.Kind, fields: e.Fields(), at: -1, noise: e.Kind == parsers.KindNoise}
	if bad := escapedByte().FindAllString(text, -1); len(bad) >= 3 && 2*len(strings.Join(bad, "")) > len(text) {
		l.noise = true // bytes that are no text, written down by whoever copied them
	}
	if g, sure := e.Guess(); g != "" && sure >= sureEnough {
		l.kind = g
	}
	if l.kind == parsers.KindReaderMissing || l.kind == parsers.KindReaderVersion {
		if b := words(text); e.Profile == "" && netChip.holdsAny(b) && !readerChip.holdsAny(b) {
			l.kind = parsers.KindUnknown // the network's chip, not the reader's
		}
	}
	if l.kind == parsers.KindReaderMissing && e.Profile == "" && !readerChip.holdsAny(words(text)) && !anyChip.holdsAny(words(text)) {
		l.kind = parsers.KindUnknown // nobody answers, but nobody says who
	}
	if u := e.UID(); u != nil {
		l.uid = u.String()
	} else {
		l.uid = l.fields["uid"]
	}
	if flat, is := flatJSON(text); is {
		l.bag = words(flat)
		text = flat
	} else {
		l.bag = words(text)
	}
	if e.Reader != parsers.NoReader {
		l.reader = strconv.Itoa(e.Reader)
	} else if m := readerIndex().FindStringSubmatch(text); m != nil {
		l.reader = strings.ToUpper(m[1])
	}
	l.sayMore()
	l.at = clockOf(l.text)
	// A start that a wording knows is the board's, however it is set off.
	l.remark, l.host = remark(l.text) && (e.Kind != parsers.KindBoot || e.Profile == ""), hostLine(l.text)
	l.meant = asMeant.holdsAny(l.bag)
	return l, true
}

var (
	netChip     = mustPhrases("w5100|w5200|w5500|ethernet|lan|eth|network|nic|enc28j60|phy")
	readerChip  = mustPhrases("reader*|rfid|mfrc522|rc522|pcd|rdr|tag|nfc|antenna")
	anyChip     = mustPhrases("chip|ic|module|spi|version|register|silicon")
	addWords    = mustPhrases("add|added|written|stored|learned|learnt|taught|enrolled|saved !master")
	refuseWords = mustPhrases("refused|denied|unknown|rejected|stranger|deny|nope|forbidden")
	letIn       = mustPhrases("accepted|allowed|welcome|granted|known|grant")
	joinedUID   = lazily(`(?i)\b([0-9a-f]{7,14})\b`)
)

// sayMore takes lines that name a tag and what became of it, where no guess was made.
func (l *line) sayMore() {
	if l.kind != parsers.KindUnknown && l.kind != parsers.KindTagPresent {
		return
	}
	var of parsers.Kind
	switch {
	case addWords.holdsAny(l.bag):
		of = parsers.KindCardAdded
	case refuseWords.holdsAny(l.bag):
		of = parsers.KindCardRefused
	case letIn.holdsAny(l.bag):
		of = parsers.KindCardAccepted
	default:
		return
	}
	if l.uid == "" {
		m := joinedUID().FindString(l.text)
		if !strings.ContainsAny(m, "abcdefABCDEF") || !strings.ContainsAny(m, "0123456789") {
			return
		}
		l.uid = strings.ToUpper(m)
	}
	l.uid = strings.TrimPrefix(l.uid, "~")
	l.kind = of
}

var readerIndex = lazily(`(?i)\b(?:reader|slot|module|idx)[ "#:=]{0,3}([0-9]|[A-D])\b`)

// escapedByte is a byte as programs write one that is no text.
var escapedByte = lazily(`(?i)\\x[0-9a-f]{2}|<(?:0x)?[0-9a-f]{2}>`)

// phrases is a list of which one is enough, read when it is first used.
type phrases struct{ list func() []phrase }

func (p phrases) holdsAny(b bag) bool {
	for _, x := range p.list() {
		if _, ok := x.holds(b); ok {
			return true
		}
	}
	return false
}

// mustPhrases makes phrases of the program's own.
func mustPhrases(list ...string) phrases {
	p := phrases{sync.OnceValue(func() []phrase {
		var out []phrase
		for _, text := range list {
			p, err := parsePhrase(text, nil)
			if err != nil {
				panic(err) // a broken invariant: the text is the program's own
			}
			out = append(out, p)
		}
		return out
	})}
	toCheck = append(toCheck, func() { p.list() })
	return p
}

// asMeant is what people and programs say of what only looks like a fault.
var asMeant = mustPhrases("as_it_should|as_they_should|as_planned|as_expected|on_purpose|as_every_night|none_needed|by_hand", "acceptance test|pulled|cable|purpose")

// remark reports whether a line is what a person wrote between the lines of a capture.
func remark(text string) bool {
	for _, begin := range []string{"(", "[", "#", "//", ";", "--", "==", "* ", "- "} {
		if strings.HasPrefix(text, begin) {
			if end := strings.IndexByte(text, ')'); begin == "(" && end > 0 && end+12 < len(text) {
				return false // a label before a line
			}
			return strings.ContainsFunc(text, isLetter) && !bracketedClock().MatchString(text)
		}
	}
	return noteJSON().MatchString(text) || deed().MatchString(text)
}

var (
	bracketedClock = lazily(`^\[\s*\d+(\.\d+)?\]`)
	noteJSON       = lazily(`^\{.*"note"`)
	// deed is a bare word of what was done.
	deed = lazily(`(?i)^(open(ed)?|close(d)?|plug|unplug|power (on|off)|reset( pressed)?|restart(ed)?)( #?\d+)?\W*$`)
)

func isLetter(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' }

// flatJSON writes an object of one line as key=value pairs in the order of the keys.
func flatJSON(text string) (string, bool) {
	if !strings.HasPrefix(text, "{") {
		return "", false
	}
	var m map[string]any
	if json.Unmarshal([]byte(text), &m) != nil {
		return "", false
	}
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	var b strings.Builder
	for _, k := range keys {
		v := m[k]
		if f, ok := v.(float64); ok {
			v = strconv.FormatFloat(f, 'f', -1, 64)
		}
		b.WriteString(k)
		b.WriteByte('=')
		switch v := v.(type) {
		case string:
			b.WriteString(v)
		case bool:
			b.WriteString(strconv.FormatBool(v))
		case nil:
			b.WriteString("none")
		}
		b.WriteByte(' ')
	}
	return b.String(), true
}

var (
	wallClock  = lazily(`^(?:\d{4}-\d\d-\d\d[T ])?(\d\d):(\d\d):(\d\d(?:\.\d+)?)`)
	dateOf     = lazily(`^\d{4}-\d\d-(\d\d)[T ]`)
	plusClock  = lazily(`^\+(\d+):(\d\d):(\d\d)`)
	tickClock  = lazily(`^(?:<\d>\s*)?@?(\d{1,8}(?:\.\d+)?)(?:[ ;:>\]]|$)`)
	millisJSON = lazily(`^\{"ms":(\d+)`)
)

// clockOf is the time in seconds that a line begins with, -1 for none. Eight digits in
// a row count milliseconds.
func clockOf(text string) float64 {
	if m := wallClock().FindStringSubmatch(text); m != nil {
		day := 0.0
		if d := dateOf().FindStringSubmatch(text); d != nil {
			day, _ = strconv.ParseFloat(d[1], 64)
		}
		return day*86400 + clock(m)
	}
	if m := plusClock().FindStringSubmatch(text); m != nil {
		return clock(m)
	}
	if m := millisJSON().FindStringSubmatch(text); m != nil {
		v, _ := strconv.ParseFloat(m[1], 64)
		return v / 1000
	}
	if m := tickClock().FindStringSubmatch(text); m != nil {
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return -1
		}
		if len(m[1]) == 8 && !strings.Contains(m[1], ".") {
			v /= 1000
		}
		return v
	}
	return -1
}

func clock(m []string) float64 {
	h, _ := strconv.ParseFloat(m[1], 64)
	min, _ := strconv.ParseFloat(m[2], 64)
	s, _ := strconv.ParseFloat(m[3], 64)
	return h*3600 + min*60 + s
}

// shape is a line without its digits, for comparing one start with another.
func shape(text string) string {
	var b strings.Builder
	digit := false
	for _, r := range text {
		if r >= '0' && r <= '9' {
			if !digit {
				b.WriteByte('0')
			}
			digit = true
			continue
		}
		digit = false
		b.WriteRune(r)
	}
	return b.String()
}
