package diagnose

import (
	"slices"
	"strings"

	"propwright/parsers"
)

// detectWords looks for the knowledge's phrases: those of values in every line, those
// of questions and answers in a person's remarks.
func (r *Reading) detectWords() {
	seen := map[string]bool{}
	for i := range r.lines {
		l := &r.lines[i]
		if l.noise || l.meant {
			continue
		}
		key := shape(unclocked(l.text))
		if seen[key] && !l.remark {
			continue
		}
		seen[key] = true
		if tagKind(l.kind) && l.uid != "" || l.kind == parsers.KindCoilWritten || l.kind == parsers.KindAddress && !disputed.holdsAny(l.bag) {
			continue
		}
		for f := range r.k.Findings {
			finding := &r.k.Findings[f]
			for v := range finding.Values {
				if len(finding.Values[v].shows) > 0 && bestOf(finding.Values[v].shows, l.bag) > 0 {
					r.add(finding.ID, finding.Values[v].ID, rankLine, l)
				}
			}
		}
		if !l.remark && !l.host {
			continue
		}
		if l.remark && !l.start {
			whole := words(strings.Trim(l.text, "()[]#/;-=* \t"))
			for _, e := range r.k.hear(heard{whole, whole}) {
				if f := &r.k.Findings[e.Finding]; !f.Action && e.Value > 0 {
					r.add(f.ID, f.Values[e.Value].ID, rankLine, l)
				}
			}
		}
		for clause := range clauses(l.text) {
			for _, e := range r.k.hear(clause) {
				r.add(r.k.Findings[e.Finding].ID, r.k.Findings[e.Finding].Values[e.Value].ID, rankRemark, l)
			}
		}
	}
}

// disputed are words with which a line about an address is more than a setting.
var disputed = mustPhrases("conflict*|duplicate*|already|twice|both|same|taken|in_use|claimed|fail*|refused")

// clauses are the parts of a remark that are read as an answer each: those with a
// colon, which parts what was done from what came of it.
func clauses(text string) func(func(heard) bool) {
	return func(yield func(heard) bool) {
		text = strings.Trim(text, "()[]#/;-=* \t")
		for part := range strings.SplitSeq(text, ";") {
			q, a, ok := strings.Cut(part, ":")
			if !ok || strings.TrimSpace(a) == "" {
				continue
			}
			if !yield(heard{words(q), words(a)}) {
				return
			}
		}
	}
}

// health is what one stretch of the text shows of the board.
type health struct {
	chip, tags, net, memory int // 1 good, -1 bad, 0 not told
	lines                   int
}

func (h health) bad() bool { return h.chip < 0 || h.tags < 0 || h.net < 0 }

// better reports whether something that is bad in the other is good here, and nothing
// is bad here that is not in the other.
func (h health) better(o health) bool {
	gain := h.chip > 0 && o.chip < 0 || h.tags > 0 && o.tags < 0 || h.net > 0 && o.net < 0 ||
		h.memory == 0 && h.tags > 0 && o.memory < 0
	return gain && !(h.chip < 0 && o.chip >= 0) && !(h.tags < 0 && o.tags >= 0)
}

// powerCycle are words of a start from off.
var powerCycle = mustPhrases("power|mains|plug|supply|switched on|off|cycle|out|back", "cold start|cold|from")

// detectDeeds looks at what remarks say was done, and at what the board says before and
// after it.
func (r *Reading) detectDeeds() {
	type part struct {
		deed *line
		h    health
	}
	parts := []part{{}}
	empty := 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark {
			parts = append(parts, part{deed: l})
			empty = 0
			continue
		}
		h := &parts[len(parts)-1].h
		h.lines++
		if v, blank, ok := chipValue(l); ok {
			h.chip = 1
			if blank || v == 0 || v == 0xFF {
				h.chip = -1
			}
		}
		if l.kind == parsers.KindReaderMissing {
			h.chip = -1
		}
		if seesTag(l) {
			h.tags = 1
		}
		if emptyLook(l) {
			if empty++; empty >= 3 && h.tags == 0 {
				h.tags = -1
			}
		}
		switch {
		case l.kind == parsers.KindControllerUp:
			h.net = 1
		case l.kind == parsers.KindLinkDown, l.kind == parsers.KindControllerDown, l.uid == "" && linkDown.holdsAny(l.bag),
			strings.Contains(l.text, "0.0.0.0"):
			h.net = -1
		case l.kind == parsers.KindReaderError:
			h.memory = -1
		}
	}
	for i := range parts {
		p := &parts[i]
		if p.deed == nil || p.h.lines == 0 {
			continue
		}
		neighbours := []health{}
		if i > 0 {
			neighbours = append(neighbours, parts[i-1].h)
		}
		if i+1 < len(parts) {
			neighbours = append(neighbours, parts[i+1].h)
		}
		value := ""
		switch {
		case slices.ContainsFunc(neighbours, p.h.better):
			value = "cured"
		case i > 0 && p.h.bad() && parts[i-1].h.bad():
			value = "no-change"
		}
		if powerCycle.holdsAny(p.deed.bag) && p.h.net < 0 && p.h.chip >= 0 {
			r.add("cold-start", "no-network", rankRemark, p.deed)
		}
		if value == "" {
			continue
		}
		for f := range r.k.Findings {
			finding := &r.k.Findings[f]
			if finding.Action && bestOf(finding.asks, p.deed.bag) > 0 {
				r.add(finding.ID, value, rankRemark, p.deed)
			}
		}
	}
}

// waitWords are of jobs that a program may stay in.
var waitWords = mustPhrases("connect*|try|trying|retry|dial*|wait*|playing|play|motion|moving|motor*|sound|delay|sleep|dhcp|asking|sending|homing !tag|tags|card|cards|client|from|ready")

// Times in seconds and how often, from which on a program counts as held by one job
// (judgement).
const (
	heldFor   = 5.0
	heldTimes = 2
)

// detectHeld looks for silences that always begin with the same job.
func (r *Reading) detectHeld() {
	after := map[string]int{}
	for i := 1; i < len(r.lines); i++ {
		a, b := &r.lines[i-1], &r.lines[i]
		if a.at < 0 || b.at < a.at+heldFor || b.start || a.remark || b.remark || a.uid != "" || !waitWords.holdsAny(a.bag) {
			continue
		}
		s := shape(unclocked(a.text))
		if after[s]++; after[s] == heldTimes {
			r.count("blocked-by", "one-job", a)
		}
	}
}
