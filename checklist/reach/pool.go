package reach

import (
	"fmt"
	"strings"

	"propwright/checklist"
	"propwright/checklist/reach/estimate"
)

// What lies between tag and reader at the cover's spacing. In the room it is the cover
// itself; at the bench it may be spacers in its place, and then it is not the same cover.
const (
	coverOwn    = "own"
	coverEither = "either"
)

// sameLevel is how unlikely two counts must be under one read rate to be taken for two
// different things.
const sameLevel = 0.05

// A pool is what other steps of the same run counted at the cover under the same
// conditions: same tag, object, cover, orientation and kind of trial, with no change
// recorded since. Earlier runs are left out: their trials lie in other records, which a
// report cannot show as its evidence, and what was changed between runs is on record in
// neither.
type pool struct {
	count
	from  []string // where from, in words
	apart []string // what was not taken in, and why
}

// pooling are the trials at the cover that count together with the step's own.
func (t *trials) pooling() (p pool) {
	p.spacing = t.s.Item.CoverMM
	type source struct {
		place checklist.Place
		count
		cover string
	}
	var sources []source
	for _, e := range t.s.Akin(measureTrial) {
		if e.Measure.Reader != t.reader.Index || e.Measure.Params["spacing_mm"] != millimetres(p.spacing) || !t.manner.made(e) {
			continue
		}
		place, cover := checklist.Place{Sitting: e.Sitting, Step: e.Step}, coverOf(e)
		n := len(sources)
		if n == 0 || sources[n-1].place != place || sources[n-1].cover != cover {
			sources = append(sources, source{place: place, cover: cover})
			n++
		}
		sources[n-1].add(e)
	}
	for _, s := range sources {
		name := fmt.Sprintf("%s (step %s, %s)", s.share(), s.place.Step, s.place.Sitting)
		if s.cover != coverOwn || t.manner.cover != coverOwn {
			p.apart = append(p.apart, name)
			continue
		}
		for _, e := range s.entries {
			p.add(e)
		}
		p.from = append(p.from, name)
	}
	return p
}

// coverOf is what lay between in a trial at the cover's spacing. Before that was on
// record it was the cover in the room, and either at the bench.
func coverOf(e checklist.Entry) string {
	if v, there := e.Measure.Params["cover"]; there {
		return v
	}
	if e.Sitting == checklist.Site {
		return coverOwn
	}
	return coverEither
}

// with are two counts taken together.
func (c count) with(o count) count {
	c.read, c.missed = c.read+o.read, c.missed+o.missed
	c.entries = append(append([]checklist.Entry{}, c.entries...), o.entries...)
	return c
}

// contradicts reports whether two counts can hardly come from one read rate.
func contradicts(a, b count) bool {
	return estimate.SameRate(a.read, a.n(), b.read, b.n()) < sameLevel
}

// pooledVerdict judges the step's own count at the cover together with others'. What
// others counted can confirm a range; it never hides a failure nor makes one, and where
// it contradicts the own count nothing is confirmed.
func pooledVerdict(own, others count, p plan) checklist.Verdict {
	alone := coverVerdict(own.read, own.n(), p.least)
	switch {
	case others.n() == 0 || alone == checklist.Failed:
		return alone
	case contradicts(own, others):
		return checklist.NotConfirmed
	case coverVerdict(own.read+others.read, own.n()+others.n(), p.least) == checklist.Passed:
		return checklist.Passed
	}
	return checklist.NotConfirmed
}

// said is what was counted together, and what was not.
func (p pool) said(own count) string {
	var text string
	switch {
	case len(p.from) > 0 && contradicts(own, p.count):
		text = fmt.Sprintf(" Not counted together with %s, though tag, object, cover, orientation and kind of trial are the same: one read rate hardly gives both counts (Fisher's exact test, 5 %%). Find out what differs, and record it as a change.", strings.Join(p.from, " and "))
	case len(p.from) > 0:
		text = fmt.Sprintf(" Counted together: this step's %s with %s of this run; tag, object, cover, orientation and kind of trial are the same, and no change is on record since. Earlier runs are never counted in.", own.share(), strings.Join(p.from, " and "))
	}
	if len(p.apart) > 0 {
		text += fmt.Sprintf(" Not counted together with %s: spacers may have lain in place of the prop's own cover in one of them (cover_by in the procedure).", strings.Join(p.apart, " and "))
	}
	return text
}
