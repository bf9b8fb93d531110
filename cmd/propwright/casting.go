package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/serialmon"
	"propwright/serialmon/clock"
)

// casting says who and what takes part in a commissioning from the command line.
func casting(ctx context.Context, st *sitePlan, d deps, o commissionOptions, item checklist.Item, folder *runFolder) (cast, error) {
	c, err := equip(st, d, o, item, folder)
	if err != nil {
		return cast{}, err
	}
	return c, people(ctx, d, o, folder.procedure, &c)
}

// equip is casting without the people.
func equip(st *sitePlan, d deps, o commissionOptions, item checklist.Item, folder *runFolder) (c cast, err error) {
	if h := folder.header(); h != nil {
		item = h.Item // a run is judged by what it began with
	}
	folder.procedure = withLimits(folder.procedure, st.File.Limits)
	c = cast{item: item, virtual: o.hands != "" || isPseudoTerminal(o.port)}
	c.clock, c.anchor = clockOf(o, folder, d.now())
	c.decided = func(dec checklist.Decision) { printDecision(d.out, d.err, d.outColour(), dec) }
	c.reopened = func(entries []checklist.Entry) { sayAgain(d.err, entries, folder.procedure) }
	if c.wording, err = chooseWording(firstOf(o.wording, st.File.Defaults.Wording), st.Dir); err != nil {
		return cast{}, err
	}
	if c.ranging, err = siteRanging(st.Dir); err != nil {
		return cast{}, err
	}
	if c.port, err = portOf(st, o, item); err != nil {
		return cast{}, err
	}
	if o.listen != "" {
		c.listen = &link.Config{Addr: o.listen, Base: item.Controller.Base, Clock: c.clock}
	}
	return c, nil
}

// people brings the person: at a terminal, in an answers file, or virtual hands.
func people(ctx context.Context, d deps, o commissionOptions, p checklist.Procedure, c *cast) error {
	var voice speaker = silence{}
	if d.errTTY && !o.mute {
		l := newLoudspeaker(d.err, exec.LookPath, time.Sleep)
		voice, c.closing = l, append(c.closing, l.Close)
	}
	terminal := newTerminalPerson(d.err, d.errColour(), voice, personName(d, o.signer))
	terminal.far, terminal.narrow = o.far && d.errTTY, d.errTTY
	c.person = terminal
	if d.inTTY && o.answers == "" {
		go terminal.read(ctx, d.in) // ends with the process: a read of a terminal cannot be called off
		c.commands = terminal.commands
		if d.errTTY {
			c.talks = terminal
		}
	} else {
		terminal.ended = checklist.ErrNoAnswer
	}
	if o.answers != "" {
		f, err := os.Open(o.answers)
		if err != nil {
			return toolError{what: fmt.Sprintf("answers %q", o.answers), err: withoutPath(err), try: "the path of an answers file"}
		}
		defer f.Close()
		answers, err := readAnswers(o.answers, f, p)
		if err != nil {
			return hintedError{usageError{err}, "a table for each step id, such as [wiring] with answer, value and unit"}
		}
		file := answersFile{name: o.answers, answers: answers, next: terminal}
		c.person, c.skip = file, file.skips()
	}
	if o.hands != "" {
		hands, err := dialHands(o.hands, c.clock, c.person)
		if err != nil {
			return toolError{what: fmt.Sprintf("hands %q", o.hands), err: err, try: "the control: path that propwright board printed"}
		}
		c.person = hands
	}
	return nil
}

// clockOf is the real clock, or for a virtual board a paced one: a resumed run
// keeps the pace and the anchor that it began with.
func clockOf(o commissionOptions, folder *runFolder, now time.Time) (clock.Clock, time.Time) {
	if h := folder.header(); h != nil && h.Pace > 0 {
		return clock.Paced(h.Anchor, h.Pace), h.Anchor
	}
	if o.pace <= 0 || o.pace == 1 {
		return clock.Real(), time.Time{}
	}
	now = now.UTC()
	return clock.Paced(now, o.pace), now
}

// portOf says how to open the board's port; nil without one.
func portOf(st *sitePlan, o commissionOptions, item checklist.Item) (*portPlan, error) {
	if o.port == "" {
		return nil, nil
	}
	planned := item.Board.Speed
	if s := int(st.File.Defaults.Speed); planned == 0 && s > 0 {
		planned = s
	}
	speed, auto, err := readSpeed(o.speed, planned)
	if err != nil {
		return nil, err
	}
	return &portPlan{serialmon.Options{Open: serialmon.OpenSerial, Name: o.port, Speed: speed, NoReset: o.noReset}, auto}, nil
}

// isPseudoTerminal reports whether a port is one: then no real board can be behind
// it, and the report says so.
func isPseudoTerminal(port string) bool {
	if port == "" {
		return false
	}
	target, err := filepath.EvalSymlinks(port)
	if err != nil {
		return false
	}
	return strings.HasPrefix(target, "/dev/pts/") || strings.HasPrefix(target, "/dev/ttys")
}
