package diagnose

import (
	"encoding/hex"
	"slices"
	"strconv"
	"strings"

	"propwright/parsers"
)

// emptyPoll are lines that tell of a look for tags that found none.
var (
	emptyPoll  = mustPhrases("poll|scan|polls|hits|picc|scanning none|nothing|empty|0 !tag_left", "no_tag|no_card", "poll|scan result 3", "tag|poll|card none !left|gone")
	dashPoll   = lazily(`(?i)\[?TAG\]?\s+--$`)
	distanceMM = lazily(`(?i)\b(\d+(?:[.,]\d+)?) ?mm\b`)
	shownDeaf  = mustPhrases("tag*|card*|fob* shown|show|held|presented|tried|laid nothing|no_line|no_tag_line|not|no|none|nobody|without")
	resetAfter = mustPhrases("reset|restart*|power")
)

// seesTag reports whether a line tells of a tag that was seen.
func seesTag(l *line) bool {
	switch l.kind {
	case parsers.KindTagPresent, parsers.KindCardAccepted, parsers.KindCardRefused, parsers.KindCardAdded, parsers.KindCardRemoved:
		return !l.remark && l.uid != ""
	}
	return !l.remark && !l.host && l.uid != "" && l.kind != parsers.KindSetting && l.kind != parsers.KindMasterEnrolled && l.kind != parsers.KindAddress
}

func emptyLook(l *line) bool {
	return !l.remark && !l.host && l.uid == "" && l.kind != parsers.KindTagAbsent &&
		(emptyPoll.holdsAny(l.bag) || dashPoll().MatchString(l.text)) || l.kind == parsers.KindTagAbsent && emptyPoll.holdsAny(l.bag) && strings.Contains(strings.ToLower(l.text), "poll")
}

// A stretch is what lies between two starts or remarks.
type stretch struct {
	tags, empty, lines int
	badChip            bool // no answer, or an odd one
	distance           bool // a person walks away with the tag
	last               int  // line
}

func (r *Reading) stretches() []stretch {
	var all []stretch
	cur := stretch{}
	for i := range r.lines {
		l := &r.lines[i]
		if l.start || l.remark {
			if cur.lines > 0 {
				all = append(all, cur)
			}
			cur = stretch{}
			if l.remark && distanceMM().MatchString(l.text) {
				cur.distance = true
			}
		}
		if l.remark {
			continue
		}
		cur.lines++
		cur.last = i
		if v, blank, ok := chipValue(l); ok && (blank || versionClass(v) == "zero" || versionClass(v) == "ones" || versionClass(v) == "odd") {
			cur.badChip = true
		}
		if seesTag(l) {
			cur.tags++
		}
		if emptyLook(l) {
			cur.empty++
		}
	}
	return append(all, cur)
}

// detectTags looks at whether tags are read at all, and whether that ends.
func (r *Reading) detectTags() {
	tags, accepted, refused := 0, 0, 0
	chip, boards := false, 0
	lastTag := -1
	refusedUIDs := map[string]bool{}
	shown := -1
	loadBefore := false
	for i := range r.lines {
		l := &r.lines[i]
		if _, _, ok := chipValue(l); ok {
			chip = true
		}
		if !l.remark && !l.host && !l.noise {
			boards++
		}
		if seesTag(l) {
			tags++
			lastTag = i
		}
		switch l.kind {
		case parsers.KindCardAccepted:
			accepted++
		case parsers.KindCardRefused:
			refused++
			refusedUIDs[l.uid] = true
		}
		if shownDeaf.holdsAny(l.bag) && (l.remark || l.host || strings.Contains(l.text, "(")) {
			shown = i
		}
		if loadWords.holdsAny(l.bag) && !(l.remark && l.meant) {
			loadBefore = true
		}
	}
	r.detectSelfTest(chip)
	r.detectField()
	deaf := false
	if shown >= 0 && lastTag >= 0 && lastTag < len(r.lines) && r.tagBefore(shown) {
		deaf = true
		if loadBefore {
			r.count("deaf", "after-load", &r.lines[shown])
		} else {
			r.count("deaf", "after-time", &r.lines[shown])
		}
	}
	none := (*line)(nil)
	for _, s := range r.stretches() {
		if s.tags == 0 && !s.distance && (s.empty >= 3 || s.badChip && s.lines >= 6) {
			none = &r.lines[s.last]
			break
		}
	}
	switch {
	case tags == 0 && none == nil && shown >= 0:
		none = &r.lines[shown]
	case tags == 0 && none == nil && chip && r.emptyLooks() > 0:
		none = &r.lines[len(r.lines)-1]
	case tags == 0 && none == nil && chip && boards >= 25:
		r.add("tags-read", "none", rankRemark, nil)
	}
	switch {
	case none != nil && (tags == 0 || !r.onlyLater(none)) && !deaf:
		r.count("tags-read", "none", none)
	case tags >= 1:
		r.count("tags-read", "read", &r.lines[lastTag])
	}
	if tags >= 3 && !deaf && lastTag > len(r.lines)*2/3 {
		r.count("deaf", "no", nil)
	}
	switch {
	case accepted > 0:
		r.count("known-tag", "accepted", nil)
	case refused >= 2 && len(refusedUIDs) >= 2:
		r.count("known-tag", "refused", nil)
	}
	if tags >= 3 {
		r.add("exchange", "whole", rankLine-1, nil)
		r.add("programming", "off", rankLine-1, nil)
	}
}

func (r *Reading) emptyLooks() int {
	n := 0
	for i := range r.lines {
		if emptyLook(&r.lines[i]) {
			n++
		}
	}
	return n
}

// tagBefore reports whether a tag was seen before a line.
func (r *Reading) tagBefore(i int) bool {
	return slices.ContainsFunc(r.lines[:i], func(l line) bool { return seesTag(&l) })
}

// onlyLater reports whether tags were seen in the same run of the board before the
// stretch without one.
func (r *Reading) onlyLater(none *line) bool {
	seen := false
	for i := range r.lines {
		l := &r.lines[i]
		if l.n >= none.n {
			break
		}
		if l.start {
			seen = false
		}
		seen = seen || seesTag(l)
	}
	return seen
}

// bytesOf are a UID's bytes, nil for one that is not sure.
func bytesOf(uid string) []byte {
	b, err := hex.DecodeString(uid)
	if err != nil {
		return nil
	}
	return b
}

// detectUIDs looks at the numbers of the tags.
func (r *Reading) detectUIDs() {
	times := map[string]int{}
	where := map[string]*line{}
	last := ""
	again := 0
	random := map[string]bool{}
	cut := (*line)(nil)
	for i := range r.lines {
		l := &r.lines[i]
		if l.uid == "" || l.remark || l.kind == parsers.KindSetting {
			continue
		}
		if l.uid != last {
			if times[l.uid] > 0 {
				again++
			}
			last = l.uid
		}
		times[l.uid]++
		if where[l.uid] == nil {
			where[l.uid] = l
		}
		b := bytesOf(l.uid)
		if len(b) == 4 && b[0] == 0x08 {
			random[l.uid] = true
		}
		if len(b) == 4 && b[0] == parsers.CascadeTag && cut == nil {
			cut = l
		}
	}
	if len(times) == 0 {
		return
	}
	switch {
	case len(random) >= 3 || len(random) == 2 && len(times) <= 3:
		for uid := range random {
			r.count("uid-random", "changes", where[uid])
			break
		}
	case again >= 2 && len(random) == 0:
		r.count("uid-random", "same", nil)
	}
	if cut != nil {
		r.count("uid-cut", "cascade", cut)
	} else {
		r.count("uid-cut", "whole", nil)
	}
	r.detectGhosts(times, where)
	r.detectSpelling()
}

// detectGhosts looks for tags that are copies of others, whole or shifted.
func (r *Reading) detectGhosts(times map[string]int, where map[string]*line) {
	for uid := range times {
		b := bytesOf(uid)
		if len(b) < 4 || b[0] != 0 || b[1] != 0 {
			continue
		}
		rest := strings.TrimLeft(uid, "0")
		for other := range times {
			if other != uid && len(rest) >= 4 && strings.Contains(other, rest) {
				r.count("ghosts", "seen", where[uid])
				return
			}
		}
	}
	// One tag on two readers, back and forth.
	on := map[string]map[string]int{}
	lastAt := map[string]int{}
	moves := map[string]int{}
	for i := range r.lines {
		l := &r.lines[i]
		if !seesTag(l) || l.reader == "" {
			continue
		}
		if on[l.uid] == nil {
			on[l.uid] = map[string]int{}
		}
		on[l.uid][l.reader]++
		if j, ok := lastAt[l.uid]; ok && r.lines[j].reader != l.reader && i-j <= 6 && !slices.ContainsFunc(r.lines[j:i], func(x line) bool { return x.start || x.remark }) {
			moves[l.uid]++
			if moves[l.uid] >= 2 {
				r.count("ghosts", "seen", l)
				return
			}
		}
		lastAt[l.uid] = i
	}
	if len(times) >= 2 {
		r.count("ghosts", "none", nil)
	}
}

var (
	hexRun = lazily(`(?i)\b(?:0x)?([0-9a-f]{5,20})\b`)
	decRun = lazily(`\b\d{1,3}(?:,\d{1,3}){3,9}\b`)
)

// detectSpelling looks for one tag that is written in two ways within a few lines: the
// bytes the other way round, or a zero lost.
func (r *Reading) detectSpelling() {
	type print struct {
		digits string
		bytes  []byte
		n      int
	}
	var seen []print
	for i := range r.lines {
		l := &r.lines[i]
		if l.start || strings.Contains(strings.ToLower(l.text), "mac") || l.kind == parsers.KindAddress {
			continue
		}
		text := unclocked(l.text)
		var here []print
		for _, m := range hexRun().FindAllStringSubmatch(text, 3) {
			d := strings.ToUpper(m[1])
			if strings.ContainsAny(d, "ABCDEF") || len(d) >= 7 {
				here = append(here, print{d, bytesOf(d), l.n})
			}
		}
		for _, m := range decRun().FindAllString(text, 2) {
			var b []byte
			for p := range strings.SplitSeq(m, ",") {
				v, err := strconv.ParseUint(p, 10, 8)
				if err != nil {
					b = nil
					break
				}
				b = append(b, byte(v))
			}
			if b != nil {
				here = append(here, print{strings.ToUpper(hex.EncodeToString(b)), b, l.n})
			}
		}
		for _, a := range here {
			for _, b := range seen {
				if a.n-b.n > 6 || a.digits == b.digits {
					continue
				}
				if unlike(a.digits, b.digits, a.bytes, b.bytes) {
					r.count("uid-spelling", "unlike", l)
					return
				}
			}
		}
		seen = append(seen, here...)
		if len(seen) > 40 {
			seen = seen[len(seen)-20:]
		}
	}
}

// unlike reports whether two prints are one tag written in two ways.
func unlike(a, b string, x, y []byte) bool {
	if len(x) >= 4 && len(x) == len(y) {
		rev := slices.Clone(y)
		slices.Reverse(rev)
		return slices.Equal(x, rev)
	}
	if len(a) < len(b) {
		a, b, x, y = b, a, y, x
	}
	if len(x) < 4 || len(b) < 6 {
		return false
	}
	for range 2 {
		joined := ""
		for _, v := range x {
			joined += strings.ToUpper(strconv.FormatUint(uint64(v), 16))
		}
		if joined == b && joined != a {
			return true
		}
		x = slices.Clone(x)
		slices.Reverse(x)
	}
	return false
}

var (
	missWord = mustPhrases("miss|missed")
	leftWord = mustPhrases("left|gone|removed|off|out|lost|absent")
	backWord = mustPhrases("placed|seen|back|in|on|present")
)

// detectRest looks at a tag that is called gone and is there again at once.
func (r *Reading) detectRest() {
	type gap struct{ on, off float64 }
	var gaps []gap
	present, on, gone := "", -1.0, -1.0
	presences := 0
	strict, longest, prev, lastUID := 0, 0, "", ""
	var at *line
	misses := 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.start || l.remark {
			present, strict, prev = "", 0, ""
			continue
		}
		if missWord.holdsAny(l.bag) && r.leftAndBack(i) {
			misses++
			at = l
		}
		absent := l.kind == parsers.KindTagAbsent || emptyLook(l)
		switch {
		case seesTag(l) && l.kind != parsers.KindCardAdded:
			if present == l.uid && gone >= 0 && l.at >= gone && l.at-gone < 1.3 {
				gaps = append(gaps, gap{gone - on, l.at - gone})
				at = l
			}
			if present != l.uid || gone >= 0 {
				on = l.at
				presences++
			}
			present, gone = l.uid, -1
			if prev == "absent" && lastUID == l.uid {
				strict++
			} else if prev != l.uid || lastUID != l.uid {
				strict = 1
			}
			prev, lastUID = l.uid, l.uid
		case absent && present != "":
			if gone < 0 {
				gone = l.at
			}
			if prev == present {
				strict++
			} else {
				strict = 0
			}
			prev = "absent"
		default:
			if strings.Contains(strings.ToLower(l.text), "poll") {
				continue
			}
			if l.at < 0 { // without times only polls right after each other count
				strict, prev = 0, ""
			}
		}
		if l.at < 0 {
			longest = max(longest, strict)
		}
	}
	switch {
	case len(gaps) >= 3:
		even, long := 0, 0
		for _, g := range gaps {
			switch {
			case g.on >= 0 && g.on <= 3*max(g.off, 0.05):
				even++
			case g.on > 1.2:
				long++
			}
		}
		switch {
		case even*3 >= len(gaps)*2:
			r.count("rest", "alternating", at)
		case long*2 >= len(gaps):
			r.count("rest", "single-misses", at)
		default:
			r.count("rest", "irregular", at)
		}
	case misses >= 1:
		r.count("rest", "single-misses", at)
	case longest >= 5:
		r.count("rest", "alternating", at)
	case presences >= 3:
		r.count("rest", "steady", nil)
	}
}

// leftAndBack reports whether soon after a miss the tag is told as gone and back.
func (r *Reading) leftAndBack(i int) bool {
	left := false
	for _, l := range r.lines[i+1 : min(len(r.lines), i+7)] {
		if l.remark {
			return false
		}
		if !left && leftWord.holdsAny(l.bag) {
			left = true
			continue
		}
		if left && backWord.holdsAny(l.bag) {
			return true
		}
	}
	return false
}
