package diagnose

import (
	"strconv"
	"strings"

	"propwright/parsers"
)

var (
	ttyAttached = lazily(`(?i)^\[ *(\d+\.\d+)\].*attached to (tty\w+)`)
	ttyGone     = lazily(`(?i)^\[ *(\d+\.\d+)\].*disconnected from (tty\w+)`)
	bareGave    = lazily(`(?i)kernel: .*\b(gave|attached to) (tty\w+)`)
	bareLost    = lazily(`(?i)kernel: .*\b(lost|disconnected from) (tty\w+)`)
	portName    = lazily(`\b(tty(?:ACM|USB)|COM)(\d+)\b`)
)

// detectHost looks at what the computer says of the port.
func (r *Reading) detectHost() {
	gave := map[string]float64{}
	var vanished *line
	opened := map[string]bool{}
	var other *line
	before, after, portsSeen := "", "", false
	var same *line
	for i := range r.lines {
		l := &r.lines[i]
		if m := ttyAttached().FindStringSubmatch(l.text); m != nil {
			gave[m[2]], _ = strconv.ParseFloat(m[1], 64)
		}
		if m := ttyGone().FindStringSubmatch(l.text); m != nil {
			if t, err := strconv.ParseFloat(m[1], 64); err == nil && gave[m[2]] > 0 && t-gave[m[2]] < 5 {
				vanished = l
			}
		}
		if m := bareGave().FindStringSubmatch(l.text); m != nil {
			gave[m[2]] = 1
		}
		if m := bareLost().FindStringSubmatch(l.text); m != nil && gave[m[2]] > 0 {
			vanished = l
		}
		lower := strings.ToLower(l.text)
		m := portName().FindStringSubmatch(l.text)
		switch {
		case m == nil:
		case strings.Contains(lower, "open") && strings.Contains(lower, "ok"):
			opened[m[0]] = true
		case strings.HasPrefix(lower, "/dev/tty") || strings.HasPrefix(lower, "ports"):
			for name := range opened {
				if o := portName().FindStringSubmatch(name); o[1] == m[1] && o[2] != m[2] {
					other = l
				}
			}
		}
		if at, rest, ok := strings.Cut(lower, ":"); ok && strings.HasPrefix(lower, "ports") {
			if strings.Contains(at, "before") {
				before = strings.TrimSpace(rest)
			}
			if strings.Contains(at, "after") {
				after = strings.TrimSpace(rest)
				if !portsSeen && after == before {
					same = l
				}
				portsSeen = true
			}
		}
	}
	switch {
	case vanished != nil:
		r.count("port-list", "vanishes", vanished)
	case other != nil:
		r.count("port-list", "other-name", other)
	case same != nil:
		r.add("port-list", "absent", rankLine, same)
	}
}

var (
	lampText  = mustPhrases("lamp|led|light|set|seen|shines|show*|leds|rgb")
	seenText  = mustPhrases("seen|see|shines|shine|looks|observed|really|actual|eye*")
	colourRun = lazily(`(?i)\b(red|green|blue)\b\W{0,3}(high|low|on|off|1|0|lit|dark|shines?|is on|is off)\b`)
)

// detectLamp compares what the firmware sets with what somebody sees.
func (r *Reading) detectLamp() {
	var set map[string]bool
	right, one, all := 0, 0, 0
	var at *line
	for i := range r.lines {
		l := &r.lines[i]
		if l.uid != "" || !lampText.holdsAny(l.bag) {
			continue
		}
		if seenText.holdsAny(l.bag) {
			seen := colours(l.text)
			if set == nil || len(seen) == 0 {
				continue
			}
			wrong, n := 0, 0
			for c, on := range seen {
				want, told := set[c]
				if !told {
					continue
				}
				n++
				if on != want {
					wrong++
				}
			}
			switch {
			case n == 0:
			case wrong == 0:
				right++
			case wrong == n && n >= 2:
				all++
				at = l
			default:
				one++
				at = l
			}
			continue
		}
		if c := colours(l.text); len(c) > 0 {
			set = c
		} else if c := lampNow(l); c != nil {
			set = c
		}
	}
	switch {
	case all > 0 && all >= one:
		r.count("lamp", "inverted", at)
	case one > 0:
		r.count("lamp", "one-wrong", at)
	case right >= 2:
		r.count("lamp", "right", nil)
	}
}

// lampNow is the state that "lamp is now green" means.
func lampNow(l *line) map[string]bool {
	c := map[string]bool{"red": false, "green": false, "blue": false}
	n := 0
	for name := range c {
		if l.bag.has(name) {
			c[name] = true
			n++
		}
	}
	if n != 1 || l.remark {
		return nil
	}
	return c
}

// colours are the states that a text gives to colours.
func colours(text string) map[string]bool {
	c := map[string]bool{}
	for _, m := range colourRun().FindAllStringSubmatch(text, 6) {
		switch strings.ToLower(m[2]) {
		case "high", "on", "1", "lit", "shine", "shines", "is on":
			c[strings.ToLower(m[1])] = true
		default:
			c[strings.ToLower(m[1])] = false
		}
	}
	if len(c) > 0 {
		return c
	}
	// "[seen: blue]", "[seen: red and green shine, blue is off]"
	lower := strings.ToLower(text)
	_, rest, ok := strings.Cut(lower, "seen:")
	if !ok {
		return c
	}
	for clause := range strings.SplitSeq(strings.Trim(rest, " ]).\t"), ",") {
		off := strings.Contains(clause, "off") || strings.Contains(clause, "dark")
		for _, name := range []string{"red", "green", "blue"} {
			if strings.Contains(clause, name) {
				c[name] = !off
			}
		}
		if strings.Contains(clause, "other two") || strings.Contains(clause, "others") {
			for _, name := range []string{"red", "green", "blue"} {
				if _, told := c[name]; !told {
					c[name] = !off
				}
			}
		}
	}
	if len(c) == 1 {
		for name, on := range c {
			if on {
				return map[string]bool{"red": name == "red", "green": name == "green", "blue": name == "blue"}
			}
		}
	}
	return c
}

var (
	freeMemory = lazily(`(?i)\b(?:free|heap|ram|mem(?:ory)?)\b(?: (?:free|left))?\W{0,6}(\d{1,6})\b`)
	loopTime   = lazily(`(?i)\bloop\b\W{0,3}(?:time\W{0,2})?(\d{1,9}) ?(us|ms|s)\b`)
)

// shortMemory is how many free bytes of working memory are too few on the common
// controllers with 2 KiB (common practice, no source).
const shortMemory = 200

// longLoop is a round of the program, in seconds, in which no tag can be served.
const longLoop = 1.0

// detectNumbers looks at free memory, the time of a round, and distances.
func (r *Reading) detectNumbers() {
	first, least := -1, -1
	var at, slow *line
	loops := 0
	reads, fails := map[float64]int{}, map[float64]int{}
	mm, cover := -1.0, -1.0
	var where *line
	for i := range r.lines {
		l := &r.lines[i]
		if m := freeMemory().FindStringSubmatch(l.text); m != nil && l.uid == "" && !l.remark {
			if n, ok := number(m[1]); ok {
				if first < 0 {
					first = n
				}
				if least < 0 || n < least {
					least, at = n, l
				}
			}
		}
		if m := loopTime().FindStringSubmatch(l.text); m != nil && l.uid == "" {
			v, _ := strconv.ParseFloat(m[1], 64)
			v *= map[string]float64{"us": 1e-6, "ms": 1e-3, "s": 1}[strings.ToLower(m[2])]
			loops++
			if v >= longLoop {
				slow = l
			}
		}
		if d := distanceMM().FindAllStringSubmatch(l.text, 6); d != nil && l.uid == "" {
			if l.remark {
				mm = -1
				if v, err := strconv.ParseFloat(strings.Replace(d[0][1], ",", ".", 1), 64); err == nil {
					mm = v
				}
				if len(d) > 1 && l.bag.has("cover") {
					cover, _ = strconv.ParseFloat(d[len(d)-1][1], 64)
				}
			} else if l.bag.has("range") || l.bag.has("ok") || l.bag.has("none") {
				for clause := range strings.SplitSeq(l.text, ",") {
					if c := distanceMM().FindStringSubmatch(clause); c != nil {
						v, _ := strconv.ParseFloat(c[1], 64)
						b := words(clause)
						if b.has("none") || b.has("no") || b.has("not") {
							fails[v]++
						} else if b.has("ok") || b.has("read") {
							reads[v]++
						}
						where = l
					}
				}
			}
			continue
		}
		if l.remark || l.start {
			mm = -1
			continue
		}
		if mm >= 0 {
			if seesTag(l) {
				reads[mm]++
			} else if emptyLook(l) || l.kind == parsers.KindTagAbsent && reads[mm] == 0 {
				fails[mm]++
				where = l
			}
		}
	}
	switch {
	case least >= 0 && (least < shortMemory || first > 0 && least*4 < first):
		r.count("memory-left", "short", at)
	case least >= 0:
		r.add("memory-left", "enough", rankLine, nil)
	}
	switch {
	case slow != nil:
		r.count("blocked-by", "one-job", slow)
	case loops >= 2:
		r.add("blocked-by", "nothing", rankLine, nil)
	}
	short, most := -1.0, -1.0
	for v := range fails {
		if reads[v] == 0 && (short < 0 || v < short) {
			short = v
		}
	}
	for v := range reads {
		most = max(most, v)
	}
	switch {
	case short >= 0 && (cover < 0 && short <= 20 || cover >= 0 && short <= cover):
		r.count("range", "short", where)
	case most > 0 && cover >= 0 && most >= cover:
		r.count("range", "as-required", nil)
	}
}
