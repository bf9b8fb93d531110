package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/checklist/diagnose"
	"propwright/parsers"
	"propwright/serialmon"
)

// plainEnough is how likely a cause must be for its repair to be proposed before more
// tests (judgement).
const plainEnough = 0.85

// A talk is a diagnosis with somebody at the terminal.
type talk struct {
	*diagnosis
	d     deps
	put   func(ctx context.Context, question string) (line string, ok bool)
	file  string          // keeps what is told; "" for none
	of    string          // the failed step that it is about
	proof string          // what proves a repair, to be said
	tried map[string]bool // causes whose repair was proposed
	shown string          // which causes led when they were shown last

	explained bool // how to answer was said
	unable    int  // questions in a row that could not be answered
	made      checklist.Diagnosis
}

// newTalk begins a talk of a diagnosis.
func newTalk(c *diagnosis, d deps) *talk {
	c.talks = true
	return &talk{diagnosis: c, d: d, tried: map[string]bool{}}
}

// interact asks until the cause is plain, the person stops, or no test helps.
func (c *diagnosis) interact(ctx context.Context, d deps) (err error) {
	t := newTalk(c, d)
	t.file = toldFile(c.o.site, c.o.prop)
	defer func() {
		if c.letGo != nil {
			err = errors.Join(err, c.letGo())
		}
	}()
	in, stop := context.WithCancel(ctx)
	defer stop()
	t.put = t.typed(in)
	again, err := t.goOn(ctx)
	if err != nil {
		return err
	}
	if !again {
		t.readBack()
	}
	if ok, err := t.minutes(ctx); err != nil || !ok {
		return errors.Join(err, t.ended(ctx))
	}
	if i := c.k.Test("symptom"); i >= 0 && !t.told(i) {
		if done, err := t.question(ctx, i); err != nil || done {
			return err
		}
	}
	t.pointToLink()
	if c.o.port != "" && !again {
		if done, err := t.beforePlugging(ctx); err != nil || done {
			return err
		}
	}
	if done, err := t.gatherOnceThere(ctx); err != nil || done {
		return err
	}
	for _, n := range c.notes {
		t.say("note: %s", n)
	}
	step := "the step that failed"
	if len(t.failed) > 0 {
		step = join(t.failed)
	}
	t.proof = fmt.Sprintf("What proves it is the checklist: propwright commission %s runs %s again and writes the report.", firstOf(c.o.prop, "PROP"), step)
	return t.loop(ctx)
}

// pointToLink names what tells most by itself where tags are read and the room or the
// controller does not follow.
func (t *talk) pointToLink() {
	f := t.k.Finding("symptom")
	if slices.ContainsFunc(t.answered, func(e diagnose.Evidence) bool {
		return e.Finding == f && slices.Contains([]string{"output", "late", "controller"}, t.k.Findings[f].Values[e.Value].ID)
	}) {
		t.say("=> Tag and coil seen together name most of these within a minute: propwright link %s --listen ADDR:PORT --port %s", firstOf(t.o.prop, "PROP"), firstOf(t.o.port, "PORT"))
	}
}

// gatherOnceThere gathers; a port that is not there, since a question had USB unplugged, is
// asked for until it is.
func (t *talk) gatherOnceThere(ctx context.Context) (done bool, err error) {
	for {
		err := t.gather(ctx, t.d)
		missing, ok := errors.AsType[*serialmon.OpenError](err)
		if !ok || missing.Reason != serialmon.ReasonMissing {
			return err != nil, err
		}
		line, ok := t.put(ctx, fmt.Sprintf("The port %s is not there. Plug USB in again. (Enter: look again; q: stop)", t.o.port))
		if over, err := t.over(ctx, line, ok); over {
			return true, err
		}
	}
}

// readBack says what the answers that came with the command were taken for.
func (t *talk) readBack() {
	for _, h := range t.heard {
		t.say("   %s: %s", h.Told, takenAs(h))
	}
}

const notKnown = "no test that is known; it counts a little, by its words"

// takenAs says what an answer was taken for.
func takenAs(h diagnose.Heard) string {
	if len(h.As) == 0 {
		return notKnown
	}
	return "taken as " + join(h.As)
}

// told reports whether a test needs no asking: it was answered, or has nothing to tell.
func (t *talk) told(test int) bool {
	finding := t.k.Tests[test].Finding
	return t.situation.Done[test] || slices.ContainsFunc(t.answered, func(e diagnose.Evidence) bool { return e.Finding == finding }) ||
		t.k.Idle(test, t.answered, t.situation)
}

// typed puts questions and takes lines from the terminal until in ends.
func (t *talk) typed(in context.Context) func(context.Context, string) (string, bool) {
	lines := make(chan string)
	go func() {
		defer close(lines)
		typed := bufio.NewScanner(t.d.in)
		for typed.Scan() {
			select {
			case lines <- strings.TrimSpace(typed.Text()):
			case <-in.Done():
				return
			}
		}
	}()
	return func(ctx context.Context, question string) (string, bool) {
		t.say("?? %s", question)
		select {
		case line, ok := <-lines:
			return line, ok
		case <-ctx.Done():
			return "", false
		}
	}
}

// goOn offers to go on with a talk that was cut off; again says that this is done.
func (t *talk) goOn(ctx context.Context) (again bool, err error) {
	open, err := cutOff(t.file, t.of)
	if err != nil {
		return false, toolError{what: "the talk that was kept", err: err, try: "put that file aside"}
	}
	if len(open) == 0 {
		return false, nil
	}
	line, ok := t.put(ctx, fmt.Sprintf("A talk of %s was cut off after %d answers. Go on with it? (Enter: yes; n: begin anew)", open[0].At.Local().Format("2 January 15:04"), len(open)))
	if !ok || strings.HasPrefix(strings.ToLower(line), "n") {
		if ok {
			err = t.keep(told{Ended: endedLeft})
		}
		return false, err
	}
	for _, one := range open {
		if err := t.apply(one); err != nil {
			return false, err
		}
	}
	t.readBack()
	return true, nil
}

// minutes asks how much time there is, unless that is known, and says what to do first.
func (t *talk) minutes(ctx context.Context) (ok bool, err error) {
	if t.situation.Minutes == 0 {
		line, ok := t.put(ctx, "How many minutes until the prop is needed? (Enter: not known)")
		if !ok {
			return false, nil
		}
		if m := figureIn(line, "min"); m > 0 {
			if err := t.keep(told{Minutes: m}); err != nil {
				return false, err
			}
		}
	}
	if r, err := t.result(); err == nil && r.First != "" {
		t.say("!! %s", r.First)
	}
	return true, nil
}

// causeOf is a cause as the log has it.
func causeOf(c diagnose.Ranked) checklist.DiagnosisCause {
	return checklist.DiagnosisCause{ID: c.ID, Title: c.Title, Probability: c.Probability}
}

// beforePlugging asks what opening the port would take away.
func (t *talk) beforePlugging(ctx context.Context) (done bool, err error) {
	said := false
	for _, id := range []string{"cold-start", "reset-button", "deaf-after"} {
		i := t.k.Test(id)
		if i < 0 || t.told(i) {
			continue
		}
		if !said {
			said = true
			t.say("Opening the port feeds and restarts the board. First, what it would hide:")
		}
		if done, err := t.question(ctx, i); err != nil || done {
			return true, err
		}
	}
	if said {
		t.say("=> Plug USB in again where it is out.")
	}
	return false, nil
}

func (t *talk) say(format string, args ...any) {
	line := parsers.Printable(fmt.Sprintf(format, args...))
	if t.d.errTTY {
		line = wrapLine(line, farWidth)
	}
	fmt.Fprintln(t.d.err, line)
}

// ended is a conversation that was cut off: the result so far is printed.
func (t *talk) ended(ctx context.Context) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return t.finish(t.d)
}

// stop ends the conversation, as somebody wants or for want of a test.
func (t *talk) stop(how string) error {
	if err := t.keep(told{Ended: how}); err != nil {
		return err
	}
	return t.finish(t.d)
}

// over ends the conversation where a line says so or none will come.
func (t *talk) over(ctx context.Context, line string, ok bool) (bool, error) {
	switch {
	case !ok:
		return true, t.ended(ctx)
	case line == "q":
		return true, t.stop(endedStopped)
	}
	return false, nil
}

func (t *talk) loop(ctx context.Context) error {
	for {
		r, err := t.result()
		if err != nil {
			return err
		}
		t.show(r)
		if lead := t.lead(r); lead != nil {
			t.tried[lead.ID] = true
			done, err := t.repair(ctx, *lead)
			if err != nil || done {
				return err
			}
			continue
		}
		if r.Next == nil {
			t.say("No further test is worth its time.")
			return t.stop(endedOpen)
		}
		if done, err := t.question(ctx, t.k.Test(r.Next.Test)); err != nil || done {
			return err
		}
	}
}

// lead is a cause that is plain enough to be repaired now.
func (t *talk) lead(r *diagnose.Result) *diagnose.Ranked {
	if r.Verdict != diagnose.VerdictFault {
		return nil
	}
	if c := r.Causes[0]; !t.tried[c.ID] && c.ID != diagnose.SomethingElse && (c.Probability >= plainEnough || r.Next == nil) {
		return &c
	}
	return nil
}

// show prints the three that lead, where they are not those that were shown before.
func (t *talk) show(r *diagnose.Result) {
	var leading strings.Builder
	for _, c := range r.Causes[:min(3, len(r.Causes))] {
		fmt.Fprintf(&leading, "%s %.0f ", c.ID, 100*c.Probability)
	}
	if leading.String() == t.shown {
		t.say("That changes nothing.")
		return
	}
	t.shown = leading.String()
	t.say("")
	for i, c := range r.Causes[:min(3, len(r.Causes))] {
		why := ""
		if len(c.Evidence) > 0 {
			why = "; " + c.Evidence[0]
		}
		t.say("%d  %3.0f %%  %s%s", i+1, 100*c.Probability, c.Title, why)
	}
}

// question asks one test; done says that the conversation is over.
func (t *talk) question(ctx context.Context, test int) (done bool, err error) {
	k := &t.k.Tests[test]
	f := &t.k.Findings[k.Finding]
	r, err := t.result()
	if err != nil {
		return true, err
	}
	if r.Next != nil && r.Next.Test == k.ID {
		t.say("-> %s", r.Next.Why)
	}
	if k.Masks != "" {
		t.say("!! %s", k.Masks)
	}
	if k.Caution != "" {
		t.say("!! %s", k.Caution)
	}
	if made, done, err := t.script(ctx, test); made || done || err != nil {
		return done, err
	}
	for i, v := range f.Values {
		t.say("   %d  %s", i+1, v.Tell)
	}
	how := " (Enter: cannot tell; q: stop)"
	if !t.explained {
		t.explained = true
		how = " (a number, or your own words; Enter: cannot tell; q: stop; what else you know at any time, such as ping=no answer)"
	}
	for {
		line, ok := t.put(ctx, k.Ask+how)
		again, done, err := t.take(ctx, test, line, ok)
		if !again {
			return done, err
		}
	}
}

// take takes what was answered to a test; again says that it was no answer.
func (t *talk) take(ctx context.Context, test int, line string, ok bool) (again, done bool, err error) {
	k := &t.k.Tests[test]
	f := &t.k.Findings[k.Finding]
	if over, err := t.over(ctx, line, ok); over {
		return false, true, err
	}
	switch {
	case line == "":
		if t.unable++; t.unable == mostUnable {
			t.say("=> %s", t.measures())
		}
		return false, false, t.keep(told{Test: k.ID, Skipped: true})
	case strings.Contains(line, "="):
		t.unable = 0
		return t.said(line)
	}
	t.unable = 0
	v := f.Choose(line)
	if v < 0 {
		t.say("%q is none of these; say a number, or TEST=RESULT.", line)
		return true, false, nil
	}
	if err := t.keep(told{Test: k.ID, Answer: k.ID + "=" + f.Values[v].ID}); err != nil {
		return false, true, err
	}
	t.say("   taken as: %s", t.k.Words(diagnose.Observation{Finding: k.Finding, Value: v}))
	return false, false, nil
}

// mostUnable is after how many questions in a row without an answer the talk says what
// measures instead (judgement).
const mostUnable = 3

// measures says what tells more than questions that nobody can answer.
func (t *talk) measures() string {
	prop := firstOf(t.o.prop, "PROP")
	port := firstOf(t.o.port, "PORT")
	return fmt.Sprintf("Where questions get no further, measure: propwright link %s --listen ADDR:PORT --port %s (tag and coil together), "+
		"propwright diagnose --port %s --resets 10 (starts), --for 10m with nothing on the reader (a quiet soak), "+
		"propwright commission %s --procedure recheck (starts from cold, the room's switch).", prop, port, port, prop)
}

// said takes TEST=RESULT and reads back what it was taken for.
func (t *talk) said(line string) (again, done bool, err error) {
	if _, err := t.k.Answer(line); err != nil {
		t.say("%v", err)
		return true, false, nil
	}
	if err := t.keep(told{Answer: line}); err != nil {
		return false, true, err
	}
	if h := t.heard[len(t.heard)-1]; len(h.As) == 0 {
		t.say("   %s", notKnown)
	} else {
		t.say("   taken as: %s", join(h.As))
	}
	return false, false, nil
}

// repair proposes a repair and asks what came of it.
func (t *talk) repair(ctx context.Context, c diagnose.Ranked) (done bool, err error) {
	t.say("=> %s: %s", c.Title, c.Remedy)
	if c.Caution != "" {
		t.say("!! %s", c.Caution)
	}
	line, ok := t.put(ctx, "Done: did it cure? (yes, no, Enter: not tried, q: stop)")
	if over, err := t.over(ctx, line, ok); over {
		return true, err
	}
	switch {
	case line == "":
		return false, nil
	case strings.Contains(line, "="):
		_, done, err := t.said(line)
		delete(t.tried, c.ID)
		return done, err
	}
	cured := strings.HasPrefix(strings.ToLower(line), "y")
	if err := t.keep(told{Repair: &checklist.DiagnosisRepair{Cause: causeOf(c), Cured: cured}}); err != nil || !cured {
		return err != nil, err
	}
	t.say("%s", t.proof)
	if err := t.keep(told{Ended: endedCured}); err != nil {
		return true, err
	}
	return true, t.finishCured(ctx, c)
}

// finishCured writes the files and ends.
func (t *talk) finishCured(ctx context.Context, c diagnose.Ranked) error {
	if err := t.offerFiles(ctx); err != nil {
		return err
	}
	r, err := t.result()
	if err != nil {
		return err
	}
	if err := t.files(t.d, r); err != nil {
		return err
	}
	_, err = io.WriteString(t.d.out, "cured, as was said: "+parsers.Printable(c.Title)+"\n")
	return err
}

// offerFiles asks where the page and the bundle go that nobody has named a place for.
func (t *talk) offerFiles(ctx context.Context) error {
	for _, f := range []struct {
		at            *string
		what, usually string
	}{
		{&t.o.page, "A page of what was found and done? (y: diagnosis.html, or the file to write; Enter: none)", "diagnosis.html"},
		{&t.o.bundle, "A bundle for somebody else, UIDs shortened? (y: diagnosis, or the folder to make; Enter: none)", "diagnosis"},
	} {
		if *f.at != "" {
			continue
		}
		line, ok := t.put(ctx, f.what)
		if !ok {
			return nil
		}
		switch strings.ToLower(line) {
		case "q", "n", "no":
		case "y", "yes":
			*f.at = f.usually
		default:
			*f.at = line
		}
	}
	return nil
}
