package diagnose

import (
	"propwright/parsers"
)

// mostCards is more than a common EEPROM of 1024 bytes holds: (1024-2)/4 is 255, and
// 255 itself is what one erased cell reads (example firmware, source read).
const mostCards = 250

// ctlOnly are words that are said of a controller and not of a tag.
var ctlOnly = mustPhrases("route|timeout|timed|connect*|lost|refused|retry|back|poll*|port")

var countJSON = lazily(`"n":(\d+)`)

// ofHow is how many of how many, and placesOf what that is of where it is of the list.
var (
	ofHow    = lazily(`\b(\d{1,5}) ?(?:/|of|out of) ?(\d{1,5})\b`)
	placesOf = mustPhrases("enrol*|list|stored|used|tags|cards|entries|entry|slots|places|records|learn*|added|saved|memory !read|polls|polled|lost|packets|times|seen|presented|attempt*|retry|retries|try|page|block|sector|free|readers")
)

// leastPlaces is how many places a list of tags has at least (judgement).
const leastPlaces = 5

// detectLists looks at the stored list and the master.
func (r *Reading) detectLists() {
	count, removed, restarted := -1, false, false
	var impossible, dropped, changed *line
	master, masterSeen := "", false
	var missing, masterChanged *line
	added := map[string]int{} // last line at which it was added
	lastAdded, order := "", 0
	var refusedNew, acceptedAfter *line
	acceptedNew := false
	wasRefused := map[string]int{}
	programming, sinceProgram := false, 0
	var enter *line
	r.grows = false
	r.detectToggles()
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark {
			if deedBefore.holdsAny(l.bag) {
				restarted = true
			}
			continue
		}
		if l.start {
			restarted = true
			programming = false
		}
		if programming {
			sinceProgram++
		}
		if l.host {
			continue
		}
		if m := ofHow().FindStringSubmatch(l.text); m != nil && placesOf.holdsAny(l.bag) {
			used, _ := number(m[1])
			if places, _ := number(m[2]); places >= leastPlaces && used > places {
				r.count("list-size", "beyond", l)
			}
		}
		if l.kind == parsers.KindCardRemoved || l.kind == parsers.KindListWiped {
			removed = true
			delete(added, l.uid)
		}
		n, is := r.cards(l)
		if is {
			switch {
			case n > mostCards && (count >= 0 && n > count && n-count <= 2 || r.grows):
				r.grows = true // tag by tag: many there are, but not out of nothing
			case r.grows && n < 3:
				dropped = l
				r.count("list-size", "beyond", l)
			case n > mostCards:
				impossible = l
				if count >= 0 && count != n && restarted {
					changed = l
				}
			case count >= 0 && n < count && !removed && count <= mostCards:
				if restarted {
					changed = l
				}
				dropped = l
			case count > mostCards && n < 3:
				dropped = l
			case count >= 0 && n != count && restarted && lastAdded == "":
				changed = l
			}
			count, removed, restarted = n, false, false
		}
		switch l.kind {
		case parsers.KindMasterMissing:
			if ctlOnly.holdsAny(l.bag) {
				break // the controller, called master
			}
			if masterSeen {
				missing = l
			} else if missing == nil && i < len(r.lines) {
				missing = l
			}
		case parsers.KindSetting, parsers.KindMasterEnrolled:
			uid := l.uid
			if l.fields["name"] == parsers.SettingMaster {
				uid = l.fields["value"]
			} else if l.fields["name"] != "" && l.kind == parsers.KindSetting {
				uid = ""
			}
			if uid == "" || uid == "known" {
				break
			}
			if masterSeen && master != uid && !removed {
				masterChanged = l
			}
			if masterSeen || l.kind == parsers.KindSetting {
				if missing != nil && !masterSeen {
					missing = nil
				}
			}
			master, masterSeen = uid, true
		case parsers.KindCardAdded:
			order++
			added[l.uid] = order
			lastAdded = l.uid
		case parsers.KindCardRefused:
			if at, ok := added[l.uid]; ok && at == order && l.uid != "" {
				refusedNew = l
				wasRefused[l.uid] = order
			}
		case parsers.KindCardAccepted:
			if at, ok := wasRefused[l.uid]; ok && order > at {
				acceptedAfter = l
			}
			if l.uid != "" && l.uid == lastAdded && wasRefused[l.uid] == 0 {
				acceptedNew = true
			}
		case parsers.KindProgramEnter:
			programming, enter, sinceProgram = true, l, 0
		case parsers.KindProgramExit:
			programming = false
		}
	}
	switch {
	case impossible != nil:
		r.count("list-count", "impossible", impossible)
	case dropped != nil:
		r.count("list-count", "dropped", dropped)
	case count >= 0:
		r.count("list-count", "plausible", nil)
	}
	if changed != nil {
		r.count("list-changed", "changed", changed)
	}
	switch {
	case masterChanged != nil:
		r.count("master", "changed", masterChanged)
	case missing != nil:
		r.count("master", "missing", missing)
	case masterSeen:
		r.count("master", "known", nil)
	}
	switch {
	case refusedNew != nil:
		r.count("newest", "refused", refusedNew)
	case acceptedNew:
		r.count("newest", "accepted", nil)
	}
	if acceptedAfter != nil {
		r.count("after-another", "now-accepted", acceptedAfter)
	}
	if programming && sinceProgram >= 6 {
		r.count("programming", "left-on", enter)
	}
}

// detectToggles looks for tags that are added and at once removed again, as happens when
// programming mode was left on and tags are shown as in service.
func (r *Reading) detectToggles() {
	last := ""
	toggles := 0
	for i := range r.lines {
		l := &r.lines[i]
		switch {
		case l.start, l.kind == parsers.KindProgramExit, l.kind == parsers.KindProgramEnter:
			last = ""
		case l.kind == parsers.KindCardAdded:
			last = l.uid
		case l.kind == parsers.KindCardRemoved && l.uid != "" && l.uid == last:
			if toggles++; toggles >= 2 {
				r.count("handling", "slip", l)
				r.count("programming", "left-on", l)
				return
			}
			last = ""
		}
	}
}

// cards is the number of stored tags that a line tells.
func (r *Reading) cards(l *line) (int, bool) {
	if l.fields["name"] == parsers.SettingCards {
		return number(l.fields["value"])
	}
	if c := l.fields[parsers.FieldCount]; c != "" && (l.kind == parsers.KindSetting || l.kind == parsers.KindCardAdded || l.kind == parsers.KindCardRemoved) {
		return number(c)
	}
	if flat, is := flatJSON(l.text); is {
		if words(flat).has("list") {
			if m := countJSON().FindStringSubmatch(l.text); m != nil {
				return number(m[1])
			}
		}
		return 0, false
	}
	if m := recordCount().FindStringSubmatch(l.text); m != nil {
		return number(m[1] + m[2])
	}
	return 0, false
}

var recordCount = lazily(`(?i)\b(\d{1,5}) (?:record|entr(?:y|ies))|\b(?:records|entries)[ :=]{1,3}(\d{1,5})\b`)

// has reports whether a word is in a text.
func (b bag) has(word string) bool {
	for _, t := range b {
		if t.word == word {
			return true
		}
	}
	return false
}
