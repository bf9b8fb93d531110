package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"propwright/checklist/diagnose"
	"propwright/parsers"
)

// How long a presentation is held and lifted, and how often a script looks at what came.
const (
	holdFor = 3 * time.Second
	liftFor = 2 * time.Second
	lookAt  = 200 * time.Millisecond
)

// script makes a test at the port, where it can be made there and that is wanted; made is
// false where it is to be asked for instead.
func (t *talk) script(ctx context.Context, test int) (made, done bool, err error) {
	if t.bench == nil {
		return false, false, nil
	}
	s, ok := t.k.Script(test, diagnose.Merge(append(slices.Clone(t.read), t.answered)...))
	if !ok {
		return false, false, nil
	}
	k := &t.k.Tests[test]
	t.say("This can be counted at the port, in %d parts:", len(s.Phases))
	for _, p := range s.Phases {
		t.say("   %s: %s", p.Name, sizeOf(p))
	}
	line, ok := t.put(ctx, fmt.Sprintf("Count it now? (Enter: yes; n: answer by hand: %s; q: stop)", k.Ask))
	switch {
	case !ok, line == "q":
		_, err := t.over(ctx, line, ok)
		return true, true, err
	case strings.HasPrefix(strings.ToLower(line), "n"):
		return false, false, nil
	case line != "" && !strings.HasPrefix(strings.ToLower(line), "y"):
		again, done, err := t.take(ctx, test, line, ok)
		return !again, done, err
	}
	var heard []diagnose.Stretch
	for _, p := range s.Phases {
		t.say("-> %s", p.Do)
		line, ok := t.put(ctx, p.Name+": ready? (Enter: begin; q: stop)")
		if over, err := t.over(ctx, line, ok); over {
			return true, true, err
		}
		h, err := t.phase(ctx, p)
		if ctx.Err() != nil {
			return true, true, t.ended(ctx)
		}
		if err != nil {
			t.say("The port is away (%v): answer by hand.", err)
			return false, false, nil
		}
		t.say("   %s: done", p.Name)
		heard = append(heard, h)
	}
	volts := 0.0
	if s.Volts != "" {
		line, ok := t.put(ctx, s.Volts)
		if over, err := t.over(ctx, line, ok); over {
			return true, true, err
		}
		volts = figureIn(line, "V")
	}
	found, words := t.k.Judge(test, s, heard, volts)
	t.say("   measured: %s", words)
	figures := make([]diagnose.Figures, len(heard))
	for i, h := range heard {
		figures[i] = h.Figures
	}
	return true, false, t.keep(told{At: t.d.now(), Test: k.ID, Script: s.Name, Figures: figures, Volts: volts, Words: words, Found: t.ids(found)})
}

// figureIn is a figure that was typed, with its unit or without; 0 for none.
func figureIn(line, unit string) float64 {
	line = strings.TrimSpace(strings.TrimSuffix(strings.ReplaceAll(line, ",", "."), unit))
	v, err := strconv.ParseFloat(line, 64)
	if err != nil {
		return 0
	}
	return v
}

// sizeOf says how much a phase counts.
func sizeOf(p diagnose.Phase) string {
	var parts []string
	if p.Starts > 0 {
		parts = append(parts, fmt.Sprintf("%d restarts", p.Starts))
	}
	if p.Shows > 0 {
		parts = append(parts, fmt.Sprintf("%d presentations", p.Shows))
	}
	if p.For > 0 {
		parts = append(parts, fmt.Sprintf("%.0f s of listening", p.For.Seconds()))
	}
	return strings.Join(parts, ", ")
}

// phase counts through one stretch.
func (t *talk) phase(ctx context.Context, p diagnose.Phase) (diagnose.Stretch, error) {
	b := t.bench
	began := b.clock.Now()
	_, from := b.since(0)
	for range p.Starts {
		if err := t.start(ctx); err != nil {
			return diagnose.Stretch{}, err
		}
	}
	read := 0
	for i := range p.Shows {
		was, err := t.present(ctx, fmt.Sprintf("   %d of %d: %s", i+1, p.Shows, firstOf(p.Call, "tag on")))
		if err != nil {
			return diagnose.Stretch{}, err
		}
		if was {
			read++
		}
	}
	if p.For > 0 {
		if err := b.clock.Sleep(ctx, p.For); err != nil {
			return diagnose.Stretch{}, err
		}
	}
	events, _ := b.since(from)
	reading := t.stretch(events)
	figures := reading.Figures()
	figures.Phase, figures.Seconds = p.Name, b.clock.Now().Sub(began).Seconds()
	figures.Asked, figures.Shown, figures.Read = p.Starts, p.Shows, read
	all, _ := b.since(0)
	return diagnose.Stretch{Figures: figures, Reading: reading, Known: t.stretch(all).Figures().Starts > 0}, nil
}

func (t *talk) stretch(events []parsers.Event) *diagnose.Reading {
	r := t.k.NewStretch()
	for _, e := range events {
		r.Take(e)
	}
	return r
}

// start restarts the board and waits until the chip's version is told, for a time.
func (t *talk) start(ctx context.Context) error {
	b := t.bench
	_, from := b.since(0)
	if err := b.reset(ctx); err != nil {
		return err
	}
	for waited := time.Duration(0); waited < startTime; waited += lookAt {
		if err := b.clock.Sleep(ctx, lookAt); err != nil {
			return err
		}
		if events, _ := b.since(from); len(t.stretch(events).Figures().Versions) > 0 {
			return nil
		}
	}
	return nil
}

// present calls for one presentation and reports whether the tag was read.
func (t *talk) present(ctx context.Context, call string) (read bool, err error) {
	b := t.bench
	_, from := b.since(0)
	t.say("%s", call)
	if err := b.clock.Sleep(ctx, holdFor); err != nil {
		return false, err
	}
	t.say("      off")
	if err := b.clock.Sleep(ctx, liftFor); err != nil {
		return false, err
	}
	events, _ := b.since(from)
	return t.stretch(events).Figures().Tags > 0, nil
}
