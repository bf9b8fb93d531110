package diagnose

import (
	"net/netip"
	"strconv"
	"strings"

	"propwright/parsers"
)

var (
	ipText      = lazily(`\b\d{1,3}\.\d{1,3}\.\d{1,3}\.\d{1,3}\b`)
	macText     = lazily(`(?i)\b[0-9a-f]{1,2}(?:([:.\-])[0-9a-f]{1,2}){5}\b`)
	linkUnknown = mustPhrases("link unknown", "link_status unknown", "cable unknown")
	linkDown    = mustPhrases("link|carrier|cable down|lost|off|none|no|dead|out|missing !wait|probe|dropped", "no_link|no_carrier", "link|cable 0 !unknown")
	linkUp      = mustPhrases("link|carrier|cable|eth up|on|alive|ok|1|established !no|not|off|lost|down|wait")
	aboutLink   = mustPhrases("link|carrier|cable|phy|plug*|unplug*|link-down|wire")
	loneCarrier = lazily(`(?i)\bcarrier$`)
	ctlDown     = mustPhrases("controller|master|plc|client|session|peer|mb|modbus|tcp timeout|timed_out|lost|gone|no|none|ended|idle|silent|no_route|retry|refused|closed|never|waiting|unreachable !reader|tag|card|dropped|key|tags|open|stored|erased|missing|known|show|defined")
	ctlUp       = mustPhrases("controller|master|plc|client|session|peer|mb|tcp|modbus connected|open|opened|from|accept|accepted|in|called|back|ok|up !not|no|lost|ended|timeout|left|old|tag|card|stored")
	wantWord    = mustPhrases("want|wanted|set|asked|planned")
	peerWord    = mustPhrases("controller|master|plc|client|session|peer|mb|tcp|modbus|gateway|gw|router|arp|ping|pc|mask")
)

// ownNet is what the board told of its network at one start.
type ownNet struct {
	ip, mask, gateway netip.Addr
}

// detectNetwork looks at link, addresses and the controller as the board tells them.
func (r *Reading) detectNetwork() {
	var own ownNet
	linkState := ""
	var downAt, unknownAt *line
	linkUps := 0
	ups, downs, never := 0, 0, 0
	lastCtl := ""
	var lostAt, neverAt *line
	bootUps := 0
	flush := func() {
		switch linkState {
		case "down":
			// The last word of a run of the board.
		case "up":
			linkUps++
		}
	}
	for i := range r.lines {
		l := &r.lines[i]
		if l.start || l.remark && !l.meant {
			if linkState == "down" && (l.start || resetAfter.holdsAny(l.bag)) && downAt == nil {
				downAt = l
			}
			if l.start {
				flush()
				linkState, bootUps = "", 0
				own = ownNet{}
			}
		}
		if l.remark || l.noise {
			continue
		}
		r.address(l, &own)
		switch {
		case linkUnknown.holdsAny(l.bag):
			unknownAt = l
		case l.kind == parsers.KindLinkDown && aboutLink.holdsAny(l.bag) || l.uid == "" && linkDown.holdsAny(l.bag) && l.kind != parsers.KindLinkUp:
			if !(l.host && l.kind != parsers.KindLinkDown) {
				linkState = "down"
			}
		case l.kind == parsers.KindLinkUp || linkUp.holdsAny(l.bag) && l.uid == "" && len(l.bag) <= 8 || loneCarrier().MatchString(l.text):
			linkState = "up"
			linkUps++
		}
		switch {
		case l.kind == parsers.KindCoilWritten || l.uid != "":
		case l.kind == parsers.KindControllerUp || ctlUp.holdsAny(l.bag) && l.kind == parsers.KindUnknown && (ipText().MatchString(l.text) || l.bag.has("connected")):
			ups++
			bootUps++
			lastCtl = "up"
		case l.kind == parsers.KindControllerDown || ctlDown.holdsAny(l.bag) && l.kind == parsers.KindUnknown:
			downs++
			if bootUps == 0 {
				never++
				neverAt = l
			} else {
				lostAt = l
			}
			lastCtl = "down"
		}
	}
	if linkState == "down" && downAt == nil {
		for i := len(r.lines) - 1; i >= 0; i-- {
			if l := &r.lines[i]; l.kind == parsers.KindLinkDown || linkDown.holdsAny(l.bag) {
				downAt = l
				break
			}
		}
	}
	switch {
	case downAt != nil:
		r.count("link", "down", downAt)
	case unknownAt != nil:
		r.count("link", "unknown", unknownAt)
	case linkUps > 0:
		r.count("link", "up", nil)
	}
	switch {
	case never >= 2 && lostAt == nil:
		r.count("controller", "never", neverAt)
	case ups > 0 && (lastCtl == "down" && downs >= 2 || downs >= 3):
		r.count("controller", "lost", lostAt)
	case never >= 1 && ups == 0, never >= 2:
		r.count("controller", "never", neverAt)
	case ups > 0 && lastCtl == "up":
		r.count("controller", "connected", nil)
	case r.quietNetwork():
		// What is absent is evidence too: settings of the network, and nothing of a link or a
		// controller behind them.
		r.add("controller", "never", rankLine, nil)
	}
	r.detectPairs()
}

// quietNetwork reports whether a board whose wording is known started, told its network
// settings, and then said nothing of a link, a controller or a coil.
func (r *Reading) quietNetwork() bool {
	const enough = 12
	started, told, lines := false, false, 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark || l.host || l.noise {
			continue
		}
		lines++
		started = started || l.start
		switch l.kind {
		case parsers.KindAddress:
			told = true
		case parsers.KindLinkUp, parsers.KindLinkDown, parsers.KindControllerUp, parsers.KindControllerDown, parsers.KindCoilWritten, parsers.KindCoilFailed:
			return false
		}
		if linkUp.holdsAny(l.bag) || linkDown.holdsAny(l.bag) || linkUnknown.holdsAny(l.bag) {
			return false
		}
	}
	return started && told && lines >= enough && r.known*2 > lines
}

// address looks at the addresses of one line.
func (r *Reading) address(l *line, own *ownNet) {
	ips := ipText().FindAllString(l.text, 4)
	if len(ips) == 0 {
		return
	}
	wants := wantWord.holdsAny(l.bag)
	for _, text := range ips {
		a, err := netip.ParseAddr(text)
		if err != nil {
			continue
		}
		b := a.As4()
		isPeer := l.kind == parsers.KindControllerUp || l.kind == parsers.KindControllerDown || peerWord.holdsAny(l.bag) && l.fields["ip"] != text && len(ips) == 1
		switch {
		case l.host:
		case text == "0.0.0.0" && !isPeer:
			r.count("address", "zero", l)
		case text == "255.255.255.255":
			r.count("address", "all-ones", l)
		case b[0] == 0 && b[1] == b[2] && b[2] == b[3] && b[1] != 0:
			r.count("address", "shifted", l)
		case b[0] == 169 && b[1] == 254:
			r.count("address", "self-assigned", l)
		case wants:
		case b[0] == 255 && text == l.fields["gateway"], b[0] == 255 && strings.Contains(l.text, "gw "+text), b[0] == 255 && strings.Contains(l.text, "gateway "+text):
			r.count("address", "mask-or-gateway", l)
		case b[0] == 255:
			own.mask = a
		case l.kind == parsers.KindControllerUp:
			r.samePlace(l, own, a)
		case text == l.fields["gateway"]:
			own.gateway = a
			if own.ip.IsValid() && own.mask.IsValid() && !sameNet(own.ip, a, own.mask) {
				r.count("address", "mask-or-gateway", l)
			}
		case isPeer:
		case l.kind == parsers.KindAddress || l.fields["ip"] == text:
			own.ip = a
			r.add("address", "plausible", rankLine, l)
		}
	}
	if own.ip.IsValid() && own.gateway.IsValid() && own.mask.IsValid() && !sameNet(own.ip, own.gateway, own.mask) {
		r.count("address", "mask-or-gateway", l)
	}
}

// samePlace notes a controller of another network than the board's.
func (r *Reading) samePlace(l *line, own *ownNet, peer netip.Addr) {
	if own.ip.IsValid() && own.mask.IsValid() && !sameNet(own.ip, peer, own.mask) && !own.gateway.IsValid() {
		r.count("address", "other-net", l)
	}
}

func sameNet(a, b, mask netip.Addr) bool {
	x, y, m := a.As4(), b.As4(), mask.As4()
	for i := range x {
		if x[i]&m[i] != y[i]&m[i] {
			return false
		}
	}
	return true
}

// detectPairs looks at which MAC goes with which address.
func (r *Reading) detectPairs() {
	byMAC, byIP := map[string]map[string]bool{}, map[string]map[string]bool{}
	var shared, turned, group *line
	fine := false
	for i := range r.lines {
		l := &r.lines[i]
		if l.uid != "" && l.kind != parsers.KindUnknown {
			continue
		}
		m := macText().FindString(l.text)
		if m == "" || ipText().MatchString(m) {
			continue
		}
		parts := strings.FieldsFunc(m, func(c rune) bool { return c == ':' || c == '.' || c == '-' })
		first, err := strconv.ParseUint(parts[0], 16, 8)
		if err != nil {
			continue
		}
		if all := strings.ToLower(strings.Join(parts, "")); all == "ffffffffffff" || strings.Trim(all, "0") == "" {
			continue
		}
		if first&1 == 1 && !l.host {
			group = l
		} else {
			fine = true
		}
		ip := ipText().FindString(strings.Replace(l.text, m, "", 1))
		if ip == "" || l.remark {
			continue
		}
		mac := strings.ToLower(strings.Join(parts, ":"))
		if byMAC[mac] == nil {
			byMAC[mac] = map[string]bool{}
		}
		if byIP[ip] == nil {
			byIP[ip] = map[string]bool{}
		}
		byMAC[mac][ip], byIP[ip][mac] = true, true
		if len(byMAC[mac]) >= 2 {
			shared = l
		}
		if len(byIP[ip]) >= 2 {
			turned = l
		}
	}
	switch {
	case shared != nil:
		r.count("arp", "one-mac", shared)
		r.count("mac", "shared", shared)
	case turned != nil:
		r.count("arp", "one-ip", turned)
	case group != nil:
		r.count("mac", "group", group)
	case fine:
		r.count("mac", "fine", nil)
	}
}

var (
	exceptionCode = lazily(`(?i)\bexc(?:eption)?\W{0,3}(?:code\W)?(?:0x)?0?(\d{1,2})\b`)
	addrNumber    = lazily(`(?i)\b(?:addr(?:ess)?|coil)\W{0,3}(?:0x)?(\d{1,5})\b`)
	coilNumber    = lazily(`(?i)\b(?:coil|output|bit|register)s?\W{0,3}(0x[0-9a-f]+|\d{1,5})\b`)
	fcNumber      = lazily(`(?i)\bfc\W{0,2}0?(\d{1,2})\b`)
	expectWord    = mustPhrases("want|wanted|expected|asked|instead|meant|but|should|planned|not|neighbour|typed|wrong|moved")
	refusedAt     = lazily(`(?i)\b(?:poll|request|conn\w*|try|attempt|no|client|socket)\W{0,3}#?(5|9)\b.*\b(?:refused|rejected|denied)`)
)

// detectModbus looks at exceptions, coils and connections.
func (r *Reading) detectModbus() {
	r.coilPairs()
	byCode := map[int]*line{}
	okAddr, bad2 := map[int]bool{}, map[int]bool{}
	fcOK, fcBad := map[int]bool{}, map[int]map[int]bool{}
	answered := 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.meant || l.noise {
			continue
		}
		addr, fc := -1, -1
		if m := addrNumber().FindStringSubmatch(l.text); m != nil {
			addr, _ = number(m[1])
		}
		if m := fcNumber().FindStringSubmatch(l.text); m != nil {
			fc, _ = number(m[1])
		}
		if m := exceptionCode().FindStringSubmatch(l.text); m != nil {
			code, _ := number(m[1])
			byCode[code] = l
			if code == 2 && addr >= 0 {
				bad2[addr] = true
			}
			if code == 1 && fc >= 0 {
				if fcBad[fc] == nil {
					fcBad[fc] = map[int]bool{}
				}
				fcBad[fc][addr] = true
			}
		} else if addr >= 0 && fc >= 0 && !l.bag.has("timeout") {
			okAddr[addr] = true
			fcOK[fc] = true
			answered++
		}
		if refusedAt().MatchString(l.text) {
			r.count("connect", "refused-after", l)
		}
		r.coils(l)
	}
	switch {
	case byCode[1] != nil:
		r.count("exception", "function", byCode[1])
	case byCode[2] != nil:
		most := -1
		for a := range okAddr {
			most = max(most, a)
		}
		edge := len(bad2) == 1
		for a := range bad2 {
			edge = edge && (a > most || a == 0)
		}
		if edge || len(okAddr) > 0 && len(bad2) <= 1 {
			r.count("exception", "edge", byCode[2])
		} else {
			r.count("exception", "address", byCode[2])
		}
	case answered >= 3:
		r.count("exception", "none", nil)
	}
}

// coils compares two coil numbers that one line holds against each other.
func (r *Reading) coils(l *line) {
	if l.uid != "" || !expectWord.holdsAny(l.bag) {
		return
	}
	var ns []int
	hexed := false
	for _, m := range coilNumber().FindAllStringSubmatch(l.text, 4) {
		hexed = hexed || strings.HasPrefix(strings.ToLower(m[1]), "0x")
		ns = append(ns, coilOf(m[1]))
	}
	for i := 1; i < len(ns); i++ {
		a, b := ns[i-1], ns[i]
		switch {
		case a == b:
		case a-b == 1 || b-a == 1:
			r.count("coil", "neighbour", l)
		default:
			r.count("coil", "far", l)
			if asHex(min(a, b)) == max(a, b) || hexed {
				r.count("number-base", "unlike", l)
			}
		}
	}
}

var (
	asksWord = mustPhrases("client|controller|master|plc|asks|asked|write*|wrote|request*|typed|sent|wants !board")
	doesWord = mustPhrases("board|set|sets|bit|switched|done|moved|is_now|now|changed|reads")
)

// coilPairs compares, over the whole text, the coil that is asked for with the one that
// is set: in one line, or in one line and the next.
func (r *Reading) coilPairs() {
	alike, hexed, beside, other := 0, 0, map[int]int{}, 0
	var atHex, atBeside *line
	pair := func(a, b int, l *line) {
		switch {
		case a == b:
			alike++
		case asHex(a) == b || asHex(b) == a:
			hexed++
			atHex = l
		case a-b == 1 || b-a == 1:
			beside[b-a]++
			atBeside = l
		default:
			other++
		}
	}
	asked := -1
	for i := range r.lines {
		l := &r.lines[i]
		if l.meant || l.noise || l.uid != "" {
			asked = -1
			continue
		}
		all := coilNumber().FindAllStringSubmatch(l.text, 3)
		switch n := len(all); {
		case n == 2 && asksWord.holdsAny(l.bag) && doesWord.holdsAny(l.bag):
			pair(coilOf(all[0][1]), coilOf(all[1][1]), l)
			asked = -1
		case n == 1 && asked >= 0 && doesWord.holdsAny(l.bag):
			pair(asked, coilOf(all[0][1]), l)
			asked = -1
		case n == 1 && asksWord.holdsAny(l.bag):
			asked = coilOf(all[0][1])
		default:
			asked = -1
		}
	}
	switch {
	case hexed >= 2 && other == 0 && len(beside) == 0:
		r.count("coil", "far", atHex)
		r.count("number-base", "unlike", atHex)
	case len(beside) == 1 && max(beside[1], beside[-1]) >= 2 && alike+other+hexed == 0:
		r.count("coil", "neighbour", atBeside)
	case alike >= 3 && hexed+other+len(beside) == 0:
		r.count("coil", "right", nil)
	}
}

// coilOf is a coil's number as a text has it, in hexadecimal behind 0x.
func coilOf(text string) int {
	base := 10
	if hex, is := strings.CutPrefix(strings.ToLower(text), "0x"); is {
		text, base = hex, 16
	}
	n, err := strconv.ParseInt(text, base, 32)
	if err != nil {
		return -1
	}
	return int(n)
}
