package diagnose

import (
	"slices"
	"strings"

	"propwright/parsers"
)

// markStarts finds the lines with which the board starts: told as such, or its clock
// begins again, or a line comes back that the text began with.
func (r *Reading) markStarts() {
	first := ""
	seen, nearest, lastSeen := map[string]int{}, map[string]int{}, map[string]int{}
	for i := range r.lines {
		if l := &r.lines[i]; !l.remark && !l.noise {
			s := shape(unclocked(l.text))
			if seen[s]++; seen[s] > 1 && (nearest[s] == 0 || i-lastSeen[s] < nearest[s]) {
				nearest[s] = i - lastSeen[s]
			}
			lastSeen[s] = i
		}
	}
	board := 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark || l.noise || l.host {
			continue
		}
		if board++; board > 4 {
			break
		}
		s := shape(unclocked(l.text))
		if board == 1 && seen[s] >= 4 && len(l.bag) >= 3 && l.uid == "" && !tagKind(l.kind) && !emptyLook(l) && r.nextTells(i, s) {
			first = s // a greeting that comes again and again, with next to nothing behind it
			break
		}
		if seen[s] > 1 && seen[s] <= 1+len(r.lines)/3 && nearest[s] > 2 && len(s) > 5 && l.uid == "" && !tagKind(l.kind) && r.sameNext(i, s) {
			first = s
			break
		}
	}
	clock, last := -1.0, -100
	for i := range r.lines {
		l := &r.lines[i]
		l.start = false
		if l.noise || l.host {
			continue
		}
		is := !l.remark && l.saysStart()
		if !l.remark && first != "" && shape(unclocked(l.text)) == first {
			is = true
		}
		if l.at >= 0 {
			if clock > 3 && l.at < 2 && l.at < clock/3 {
				is = true
			}
			clock = l.at
		}
		if is && (i-last > 3 || strings.EqualFold(shape(l.text), shape(r.lines[max(last, 0)].text))) {
			l.start = true
			last = i
		}
	}
}

// startCauses are words with which a board tells what started it; for each what they say.
var (
	byPower  = mustPhrases("rst|reset|reset_cause|boot_cause|cause|start power*|por|mains|cold !pressed|wire|pin_low")
	byButton = mustPhrases("rst|reset|reset_cause|boot_cause|cause|start button|external|ext|pin|extrf !pressed|wire|low|high|lifted")
)

// detectCold compares starts from power with those by the button: what the network is
// like behind them.
func (r *Reading) detectCold() {
	up := map[bool][2]int{} // by power; runs without a network, and with one
	power, known, net := false, false, 0
	var at *line
	end := func() {
		if known && net != 0 {
			n := up[power]
			n[(net+1)/2]++
			up[power] = n
		}
		net = 0
	}
	for i := range r.lines {
		l := &r.lines[i]
		if l.noise || l.uid != "" {
			continue
		}
		if p, b := byPower.holdsAny(l.bag), byButton.holdsAny(l.bag); p != b && len(l.bag) <= 6 {
			end()
			power, known = p, true
			if p {
				at = l
			}
			continue
		}
		switch {
		case l.kind == parsers.KindLinkUp, l.kind == parsers.KindControllerUp, upNow.holdsAny(l.bag):
			net = 1
		case net == 0 && (l.kind == parsers.KindLinkDown || downNow.holdsAny(l.bag) || strings.Contains(l.text, "0.0.0.0")):
			net = -1
		}
	}
	end()
	if p, b := up[true], up[false]; p[0] >= 1 && p[1] == 0 && b[1] >= 1 && b[0] == 0 {
		r.count("cold-start", "no-network", at)
		r.count("reset-cures", "cured", at)
	}
}

var (
	upNow   = mustPhrases("up|link yes|on|1|true|ok|good !no|not|down", "eth|net|link|lan up !no|not")
	downNow = mustPhrases("up|link no|off|0|false|none|not", "eth|net|link|lan down|no|lost")
)

var startWords = mustPhrases("boot start|started|starting|begin*")

// nextTells reports whether the line after the i-th, which begins like s, is another that
// a start has: a setting, an address, the reader's version.
func (r *Reading) nextTells(i int, s string) bool {
	for _, l := range r.lines[i+1 : min(len(r.lines), i+4)] {
		switch {
		case shape(unclocked(l.text)) == s:
			return false
		case l.kind == parsers.KindSetting, l.kind == parsers.KindAddress, l.kind == parsers.KindReaderVersion, l.kind == parsers.KindReaderMissing:
			return true
		}
	}
	return false
}

// sameNext reports whether a line that begins like the i-th is elsewhere followed by the
// same line as it, some lines away.
func (r *Reading) sameNext(i int, s string) bool {
	if i+1 >= len(r.lines) {
		return false
	}
	next := shape(unclocked(r.lines[i+1].text))
	for j := i + 3; j+1 < len(r.lines); j++ {
		if shape(unclocked(r.lines[j].text)) == s && shape(unclocked(r.lines[j+1].text)) == next {
			return true
		}
	}
	return false
}

var leadingClock = lazily(`^(?:<\d>\s*)?[@\[]?[\d:.T\-]{1,30}(?:\s*->)?[\];]?\s*`)

func unclocked(text string) string {
	if t := leadingClock().ReplaceAllString(text, ""); t != "" {
		return t
	}
	return text
}

func tagKind(k parsers.Kind) bool {
	switch k {
	case parsers.KindTagPresent, parsers.KindTagAbsent, parsers.KindCardAccepted, parsers.KindCardRefused:
		return true
	}
	return false
}

var (
	openDeed   = mustPhrases("open|opened|opening|attach*")
	deedBefore = mustPhrases("reset|restart*|power|off|on|open|opened|start|switched|mains|plug*|button|again|cycle|boot|battery|back|pulled|lifted|removed|taken|put|card|wire*|build|module|usb|adapter|stacked|plugged|bench|wall|moved|changed")
	loadWords  = mustPhrases("lock|relay*|solenoid|motor*|magnet|valve|pump|strike|latch|maglock|actuator on|off|1|0|fires|fired|opens|opened|high|low|set|released|driven|->")
)

// detectStarts looks at when and why the board starts.
func (r *Reading) detectStarts() {
	var starts []int
	opened, called, atLoad, free := 0, 0, 0, 0
	for i := range r.lines {
		if !r.lines[i].start {
			continue
		}
		starts = append(starts, i)
		switch before, load := r.deedBefore(i); {
		case i == 0 || len(starts) == 1 && i < 4:
			if before != nil && openDeed.holdsAny(before.bag) {
				opened++
			}
		case before != nil && openDeed.holdsAny(before.bag):
			opened++
		case before != nil:
			called++
		case load:
			atLoad++
		default:
			free++
		}
	}
	cut := r.cutLines(starts)
	switch {
	case cut >= 2:
		r.count("cut-lines", "often", nil)
	case cut == 1:
		r.count("cut-lines", "at-opening", nil)
	case len(r.lines) >= 15 && len(starts) > 0:
		r.count("cut-lines", "whole", nil)
	}
	if len(starts) == 0 {
		return
	}
	l := &r.lines[starts[len(starts)-1]]
	causes := map[string]int{}
	for i := range r.lines {
		if r.lines[i].kind == parsers.KindResetCause && !r.lines[i].remark {
			causes[r.lines[i].fields["cause"]]++
		}
	}
	switch {
	case causes["brown-out"] >= 2 || r.looping(starts) && causes["brown-out"] > 0:
		r.count("starts", "brown-out", l)
	case causes["watchdog"] >= 1 && len(starts) > 1:
		r.count("starts", "watchdog", l)
	case r.looping(starts):
		r.count("starts", "loop", l)
	case atLoad > 0:
		r.count("starts", "at-load", l)
	case opened >= 2 && free <= 1:
		r.count("starts", "at-opening", l)
	case free >= 3:
		r.count("starts", "unexplained", l)
	case len(r.lines) >= 15 && free <= 1:
		r.count("starts", "called-for", l)
	}
}

// deedBefore is the remark right before a start that tells why it came, and whether a
// load was switched instead.
func (r *Reading) deedBefore(i int) (*line, bool) {
	for j := i - 1; j >= max(0, i-3); j-- {
		l := &r.lines[j]
		if l.start {
			break
		}
		if l.remark && (deedBefore.holdsAny(l.bag) || l.meant) || l.meant || l.host {
			return l, false
		}
		if loadWords.holdsAny(l.bag) && !l.remark {
			return nil, true
		}
	}
	return nil, false
}

// looping reports whether the board starts over and over: three starts and more with
// little between them and nobody's deed before them, or at even times.
func (r *Reading) looping(starts []int) bool {
	if loop, ok := r.anatomy.Loop(); ok && loop.Median.Minutes() < 2 {
		return true
	}
	run, longest := 1, 1
	for i := 1; i < len(starts); i++ {
		before, _ := r.deedBefore(starts[i])
		short := starts[i]-starts[i-1] <= 9
		if t0, t1 := r.lines[starts[i-1]].at, r.lines[starts[i]].at; t0 > 1000 && t1 > t0 {
			short = t1-t0 < 20
		}
		if before == nil && short {
			run++
		} else {
			run = 1
		}
		longest = max(longest, run)
	}
	return longest >= 3
}

// cutLines counts lines that a start has cut off.
func (r *Reading) cutLines(starts []int) int {
	n := r.anatomy.MidLine
	whole := map[string]bool{}
	for i := range r.lines {
		whole[shape(unclocked(r.lines[i].text))] = true
	}
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark || l.noise || l.host {
			continue
		}
		t := shape(unclocked(l.text))
		// Text, bytes that are none, and text again: two lines run into one.
		if at := strings.IndexRune(t, '\uFFFD'); at > 1 && at < len(t)-6 && strings.ContainsFunc(t[:at], isLetter) && strings.Count(t, "\uFFFD") <= 3 {
			n++
			continue
		}
		// The beginning of a line that stands elsewhere, then a start.
		if slices.Contains(starts, i+1) && len(t) > 4 && i > 0 {
			for full := range whole {
				if len(full) > len(t)+1 && strings.HasPrefix(full, t) && isWordByte(full[len(t)]|0x20) && isWordByte(t[len(t)-1]|0x20) {
					n++
					break
				}
			}
		}
	}
	return n
}

// detectText looks at whether the text is text.
func (r *Reading) detectText() {
	if r.any == 0 {
		if r.bytes == 0 {
			r.count("text", "silent", nil)
			r.count("bytes", "none", nil)
		}
		return
	}
	board, noisy, broken, early := 0, 0, 0, 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark || l.host {
			continue
		}
		board++
		bad := strings.Count(l.text, "\uFFFD")
		for _, c := range l.text {
			if c < 0x20 && c != '\t' && c != '\n' && c != '\r' || c > 0x7E && c != '\uFFFD' && c < 0xA0 {
				bad++
			}
		}
		switch {
		case l.noise || bad*5 > len([]rune(l.text)):
			noisy++
			if board <= 2 {
				early++
			}
		case bad > 0:
			broken++
		}
	}
	switch {
	case board == 0:
		return
	case noisy*2 > board || noisy > 0 && float64(r.noise) > 0.6*float64(r.bytes):
		r.count("text", "junk", &r.lines[0])
	case broken+noisy-early >= 2:
		r.count("text", "odd-characters", nil)
	case early > 0:
		r.count("text", "noise-at-start", &r.lines[0])
	case board >= 8:
		r.count("text", "clean", nil)
	}
	if board >= 8 && noisy*2 <= board {
		r.count("bytes", "some", nil)
		r.add("port-open", "opens", rankLine, nil)
	}
	r.detectRate()
}

var baud = lazily(`\b(300|1200|2400|4800|9600|14400|19200|28800|38400|57600|74880|76800|115200|230400|250000|500000|1000000)\b`)

// detectRate compares rates at which the text is junk with those at which it is text.
func (r *Reading) detectRate() {
	rate := 0
	var junk, text []int
	var where *line
	for i := range r.lines {
		l := &r.lines[i]
		if m := baud().FindStringSubmatch(l.text); m != nil && l.uid == "" {
			rate, _ = number(m[1])
			if !l.remark && !l.host && strings.Contains(l.text, ":") { // "@9600 : …"
				if l.noise || strings.ContainsRune(l.text, '\uFFFD') || strings.Contains(l.text, `\x`) {
					junk = append(junk, rate)
				} else {
					text, where = append(text, rate), l
				}
				continue
			}
			if l.remark || l.host {
				continue
			}
		}
		switch {
		case rate == 0 || l.remark || l.host:
		case l.noise || strings.Count(l.text, "\uFFFD")*4 > len([]rune(l.text)):
			junk = append(junk, rate)
		default:
			text, where = append(text, rate), l
		}
	}
	for _, a := range junk {
		for _, b := range text {
			switch {
			case a == 2*b || b == 2*a:
				r.count("rate", "half-or-double", where)
				r.count("text", "junk", where)
				return
			case a != b:
				r.count("rate", "other", where)
				r.count("text", "junk", where)
				return
			}
		}
	}
}
