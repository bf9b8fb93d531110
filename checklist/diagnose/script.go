package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"propwright/checklist/reach/estimate"
)

// A Phase is a stretch of a script in which one thing is done and the console counted.
type Phase struct {
	Name   string
	Do     string        // what the person does, before it begins and while it lasts
	Starts int           // restarts of the board, each counted
	Shows  int           // presentations that are called for one by one
	Call   string        // what is called for at each; "" for a tag
	For    time.Duration // how long to listen besides
}

// A Script is a test that the program makes with a person at the board: it counts over
// phases and compares them.
type Script struct {
	Name   string
	Phases []Phase
	Volts  string // a voltage to be asked for at its end; "" for none
}

// The scripts, as a test's field script names them.
const (
	scriptResets   = "resets"
	scriptFlex     = "flex"
	scriptSwap     = "swap"
	scriptLoad     = "load"
	scriptPresence = "presence"
	scriptSoak     = "soak"
)

var scriptNames = []string{scriptResets, scriptFlex, scriptSwap, scriptLoad, scriptPresence, scriptSoak}

// How much is counted (judgement, by what a few minutes allow). Thirty starts of each
// kind tell 35 % wrong from 70 % wrong in three of four trials at 5 % (computed).
const (
	resetStarts = 10
	flexStarts  = 30
	swapStarts  = 15
	swapShows   = 10
	loadShows   = 8
	presenceFor = time.Minute
	soakFor     = 2 * time.Minute
)

// Script is how a test is made at a port, ok false for one that is only asked. What was
// seen so far tells what of it fails and is to be repeated.
func (k *Knowledge) Script(test int, seen []Evidence) (s Script, ok bool) {
	s.Name = k.Tests[test].Script
	switch s.Name {
	case scriptResets:
		s.Phases = []Phase{{Name: "starts", Do: "Nothing on the reader, hands off the board.", Starts: resetStarts}}
	case scriptFlex:
		s.Phases = []Phase{
			{Name: "still", Do: "Nothing on the reader. Hands off the board, leads lying still.", Starts: flexStarts},
			{Name: "moved", Do: "Move the reader's header and each lead to and fro with a plastic stick, without a pause until told.", Starts: flexStarts},
		}
	case scriptSwap:
		again := Phase{Shows: swapShows}
		if k.Tests[test].Opens && k.readerFails(seen) { // a tag has no part in the version
			again = Phase{Starts: swapStarts}
		}
		before, after := again, again
		before.Name, before.Do = "before", "Leave in what is there now."
		after.Name, after.Do = "after", "Put the known good one in its place, power off while a wire moves; then power on."
		if again.Shows > 0 {
			before.Do, after.Do = "Take the tag that is suspect, and leave all parts in.", "Put the known good part in (power off while a wire moves), or take the known good tag."
		}
		s.Phases = []Phase{before, after}
	case scriptLoad:
		s.Phases = []Phase{
			{Name: "load off", Do: "Leave the load (lamp, lock, motor) switched off, a known good tag at hand.", Shows: loadShows},
			{Name: "load switched", Do: "At each call switch the load on, hold the tag to the reader, and switch the load off again. A lock on the bench only, its bolt free and no hand in it.", Shows: loadShows, Call: "load on, tag on"},
		}
		s.Volts = "The lowest voltage at the board's 5 V pin while the load was switched (volts; Enter: not measured)"
	case scriptPresence:
		s.Phases = []Phase{{Name: "at rest", Do: "Lay a known good tag flat on the reader and leave it there.", For: presenceFor}}
	case scriptSoak:
		s.Phases = []Phase{{Name: "quiet", Do: "Take every tag away from the reader; then touch nothing.", For: soakFor}}
	default:
		return s, false
	}
	return s, true
}

// readerFails reports whether what was seen says that the chip itself answers wrongly.
func (k *Knowledge) readerFails(seen []Evidence) bool {
	return slices.ContainsFunc(seen, func(e Evidence) bool {
		f := &k.Findings[e.Finding]
		return f.ID == "version" && slices.Contains([]string{"several", "ones", "zero", "blank"}, f.Values[e.Value].ID)
	})
}

// A Stretch is what was heard in one phase.
type Stretch struct {
	Figures
	Reading *Reading
	// Known says that the board was heard to start before, so that no start told is none.
	Known bool
}

// level is how unlikely a difference must be by chance to count as one; with several
// counts compared each has its part of it (Bonferroni).
const level = 0.05

// notClear is from where on a difference counts as none: between the two it is too little
// to tell (judgement).
const notClear = 0.2

// Judge says what came of a script: what it shows, for nothing where it tells nothing,
// and the figures with the verdict in words. volts is the voltage that was told, 0 for none.
func (k *Knowledge) Judge(test int, s Script, heard []Stretch, volts float64) (found []Evidence, words string) {
	j := judge{k: k, finding: k.Findings[k.Tests[test].Finding].ID}
	switch s.Name {
	case scriptResets:
		j.resets(heard[0])
	case scriptFlex:
		j.flex(heard[0].Figures, heard[1].Figures)
	case scriptSwap:
		j.swap(heard[0].Figures, heard[1].Figures)
	case scriptLoad:
		j.load(heard[0].Figures, heard[1].Figures)
	case scriptPresence:
		j.presence(heard[0])
	case scriptSoak:
		j.soak(heard[0])
	}
	if volts > 0 {
		value := "good"
		if volts < leastVolts {
			value = "low"
		}
		j.show("board-supply", value)
		j.say("%.2f V at the board, %s", volts, map[string]string{"good": "enough", "low": "too low"}[value])
	}
	words = strings.Join(j.words, "; ")
	for i := range j.found {
		j.found[i].Text = words
	}
	return j.found, words
}

// leastVolts is the least that a 5 V board is to be given (USB 2.0, 7.2.2: a port gives
// 4.75 V at least; common practice for boards).
const leastVolts = 4.75

// A judge gathers what a script shows.
type judge struct {
	k       *Knowledge
	finding string
	found   []Evidence
	words   []string
}

func (j *judge) say(format string, args ...any) {
	j.words = append(j.words, fmt.Sprintf(format, args...))
}

func (j *judge) show(finding, value string) {
	f := j.k.Finding(finding)
	if f < 0 {
		return
	}
	if v := j.k.Findings[f].Value(value); v >= 0 {
		j.found = append(j.found, Evidence{Observation: Observation{f, v}, From: FromScript, Exact: true, rank: rankAnswer})
	}
}

// take shows what a reading says of a finding; value is what it is where that says nothing.
func (j *judge) take(finding string, seen []Evidence, value string) {
	for _, e := range seen {
		if f := &j.k.Findings[e.Finding]; f.ID == finding {
			value = f.Values[e.Value].ID
		}
	}
	if value != "" {
		j.show(finding, value)
	}
}

func (j *judge) resets(h Stretch) {
	if len(h.Versions) == 0 {
		j.say("%d restarts, and no version of the reader chip was told", h.Asked)
		return
	}
	j.say("%d restarts, version of the reader chip: %s", h.Asked, h.versions())
	j.take("version", h.Reading.Evidence(), "")
}

// A comparison is one count, over both phases.
type comparison struct {
	what         string
	p            float64
	less, more   bool // the second phase has less, or more, of what is wrong
	wrong        int  // in both
	first, after int
}

// starts and noise are events in time; how many are made at each time is compared by the
// exact test of two Poisson rates, shares of tries by Fisher's.
func perTime(what string, k1 int, t1 float64, k2 int, t2 float64) comparison {
	a, b := float64(k1)*t2, float64(k2)*t1
	return comparison{what, estimate.SameFrequency(k1, t1, k2, t2), b < a, b > a, k1 + k2, k1, k2}
}

func perTry(what string, k1, n1, k2, n2 int) comparison {
	a, b := k1*n2, k2*n1
	return comparison{what, estimate.SameRate(k1, n1, k2, n2), b < a, b > a, k1 + k2, k1, k2}
}

// compare says the counts and finds the clearest difference; counts of nothing in both
// phases cannot differ and take no part of the level.
func (j *judge) compare(names [2]string, all ...comparison) (clearest comparison, differ, unclear bool) {
	all = slices.DeleteFunc(all, func(c comparison) bool { return c.wrong == 0 })
	clearest.p = 1
	for i, c := range all {
		c.p = min(1, c.p*float64(len(all)))
		if i == 0 || c.p < clearest.p {
			clearest = c
		}
		j.say("%s: %d %s, %d %s (p = %.2g)", c.what, c.first, names[0], c.after, names[1], c.p)
	}
	return clearest, clearest.p < level, clearest.p >= level && clearest.p < notClear
}

func (j *judge) flex(still, moved Figures) {
	usual := usualVersion(still, moved)
	w1, n1 := still.reads(usual)
	w2, n2 := moved.reads(usual)
	if n1+n2 > 0 {
		j.say("%d and %d reads of the version", n1, n2)
	}
	_, differ, unclear := j.compare([2]string{"still", "moved"},
		perTry("wrong reads", w1, n1, w2, n2),
		perTime("starts that nobody called for", still.unasked(), still.Seconds, moved.unasked(), moved.Seconds),
		perTime("runs of garbled text", still.Noise, still.Seconds, moved.Noise, moved.Seconds))
	switch {
	case differ:
		j.say("moving it changes it: a contact comes and goes")
		j.show(j.finding, "cured")
	case unclear:
		j.say("too little to tell")
	case len(still.Versions)+len(moved.Versions) == 0 && still.Starts+moved.Starts == 0:
		j.say("the board said nothing: that tells nothing of a contact")
	default:
		j.say("moving it changes nothing")
		j.show(j.finding, "no-change")
	}
}

func (j *judge) swap(before, after Figures) {
	var c comparison
	if before.Shown > 0 {
		j.say("read %d of %d before, %d of %d after", before.Read, before.Shown, after.Read, after.Shown)
		c = perTry("not read", before.Shown-before.Read, before.Shown, after.Shown-after.Read, after.Shown)
	} else {
		// Another module may give another good version.
		w1, n1 := before.reads(usualVersion(before))
		w2, n2 := after.reads(usualVersion(after))
		j.say("%d wrong of %d reads of the version before, %d of %d after", w1, n1, w2, n2)
		c = perTry("wrong reads", w1, n1, w2, n2)
	}
	if c.first == 0 {
		j.say("nothing failed before, so the swap tells nothing")
		return
	}
	_, differ, unclear := j.compare([2]string{"before", "after"}, c)
	switch {
	case differ && c.less:
		j.say("the swap cures it")
		j.show(j.finding, "cured")
	case unclear && c.less:
		j.say("better, and too little to tell from chance")
	default:
		j.say("the swap does not cure it")
		j.show(j.finding, "no-change")
	}
}

func (j *judge) load(off, on Figures) {
	j.say("read %d of %d with the load off, %d of %d while it was switched", off.Read, off.Shown, on.Read, on.Shown)
	starts := perTime("starts", off.unasked(), off.Seconds, on.unasked(), on.Seconds)
	c, differ, unclear := j.compare([2]string{"load off", "load switched"}, starts,
		perTry("not read", off.Shown-off.Read, off.Shown, on.Shown-on.Read, on.Shown),
		perTime("runs of garbled text", off.Noise, off.Seconds, on.Noise, on.Seconds))
	switch {
	case differ && c.more:
		j.say("it goes wrong with the load")
		j.show(j.finding, "at-load")
		if starts.more && starts.after >= 2 {
			j.show("starts", "at-load")
		}
	case unclear && c.more:
		j.say("worse with the load, and too little to tell from chance")
	case c.wrong > 0:
		j.say("no worse with the load")
		j.show(j.finding, "any")
	default:
		j.say("nothing went wrong, so it tells little")
	}
}

func (j *judge) presence(h Stretch) {
	j.say("a tag lying still for %.0f s was told to come %d times and to go %d times", h.Seconds, h.Tags, h.Gone)
	value := ""
	switch {
	case h.Tags == 0:
		j.say("it was not read at all")
		j.show("tags-read", "none")
		return
	case h.Gone == 0:
		value = "steady"
	case h.Gone <= 2:
		value = "single-misses"
	default:
		value = "irregular"
	}
	if h.Gone == 0 {
		j.show("rest", value)
	} else {
		j.take("rest", slices.DeleteFunc(h.Reading.Evidence(), func(e Evidence) bool { return e.Value == 0 }), value)
	}
}

func (j *judge) soak(h Stretch) {
	most := -math.Log(level) * 60 / max(h.Seconds, 1) // the rule of three
	j.say("untouched for %.0f s: %d starts, %d tags told, %d runs of garbled text", h.Seconds, h.Starts, h.Tags, h.Noise)
	seen := h.Reading.Evidence()
	switch {
	case h.Starts == 0 && !h.Known:
		j.say("no start of this board was ever told, so they cannot be counted")
	case h.Starts == 0:
		j.say("so fewer than %.1f starts a minute (95 %%)", most)
		j.show("starts", "called-for")
	default:
		j.take("starts", slices.DeleteFunc(slices.Clone(seen), func(e Evidence) bool { return e.Value == 0 }), "unexplained")
	}
	if h.Tags > 0 {
		j.show("ghosts", "seen")
	}
	if h.Noise > 0 {
		j.take("text", seen, "odd-characters")
	}
}

// Measured is the evidence of a script as Judge found it, from its kept form
// FINDING=VALUE; ok is false where the knowledge has no such finding or value.
func (k *Knowledge) Measured(id, words string) (e Evidence, ok bool) {
	finding, value, _ := strings.Cut(id, "=")
	j := judge{k: k}
	j.show(finding, value)
	if len(j.found) == 0 {
		return Evidence{}, false
	}
	e = j.found[0]
	e.Text = words
	return e, true
}
