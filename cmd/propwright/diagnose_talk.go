package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"propwright/checklist"
	"propwright/checklist/diagnose"
	"propwright/parsers"
)

// plainEnough is how likely a cause must be for its repair to be proposed before more
// tests (judgement).
const plainEnough = 0.85

// A talk is a diagnosis with somebody at the terminal.
type talk struct {
	*diagnosis
	d     deps
	put   func(ctx context.Context, question string) (line string, ok bool)
	proof string          // what proves a repair, to be said
	tried map[string]bool // causes whose repair was proposed
	made  checklist.Diagnosis
}

// interact asks until the cause is plain, the person stops, or no test helps.
func (c *diagnosis) interact(ctx context.Context, d deps) error {
	prop := firstOf(c.o.prop, "PROP")
	t := &talk{diagnosis: c, d: d}
	lines := make(chan string)
	t.put = func(ctx context.Context, question string) (string, bool) {
		t.say("?? %s", question)
		select {
		case line, ok := <-lines:
			return line, ok
		case <-ctx.Done():
			return "", false
		}
	}
	in, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		defer close(lines)
		typed := bufio.NewScanner(d.in)
		for typed.Scan() {
			select {
			case lines <- strings.TrimSpace(typed.Text()):
			case <-in.Done():
				return
			}
		}
	}()
	if ok := t.minutes(ctx); !ok {
		return t.ended(ctx)
	}
	if i := c.k.Test("symptom"); i >= 0 && len(c.answered) == 0 {
		if done, err := t.question(ctx, i); err != nil || done {
			return err
		}
	}
	if c.o.port != "" {
		if done, err := t.beforePlugging(ctx); err != nil || done {
			return err
		}
	}
	if err := c.gather(ctx, d); err != nil {
		return err
	}
	step := "the step that failed"
	if len(t.failed) > 0 {
		step = join(t.failed)
	}
	t.proof = fmt.Sprintf("What proves it is the checklist: propwright commission %s runs %s again and writes the report.", prop, step)
	return t.loop(ctx)
}

// minutes asks how much time there is, unless that is known, and says what to do first.
func (t *talk) minutes(ctx context.Context) (ok bool) {
	if t.o.minutes == 0 {
		line, ok := t.put(ctx, "How many minutes until the prop is needed? (Enter: not known)")
		if !ok {
			return false
		}
		if m, err := strconv.ParseFloat(line, 64); err == nil && m > 0 {
			t.situation.Minutes = m
		}
	}
	if r, err := t.result(); err == nil && r.First != "" {
		t.say("!! %s", r.First)
	}
	return true
}

// test puts a test that was made into the story.
func (t *talk) test(ask, answer string) {
	t.story = append(t.story, ask+" "+answer+".")
	t.made.Tests = append(t.made.Tests, checklist.DiagnosisTest{Ask: ask, Answer: answer})
}

// repaired puts a repair that was tried into the story.
func (t *talk) repaired(c diagnose.Ranked, cured bool) {
	came := "Not cured"
	if cured {
		came = "Cured, as was said"
	}
	t.story = append(t.story, "Repaired: "+c.Title+". "+came+".")
	t.made.Repairs = append(t.made.Repairs, checklist.DiagnosisRepair{Cause: causeOf(c), Cured: cured})
	t.made.Cured = t.made.Cured || cured
}

// causeOf is a cause as the log has it.
func causeOf(c diagnose.Ranked) checklist.DiagnosisCause {
	return checklist.DiagnosisCause{ID: c.ID, Title: c.Title, Probability: c.Probability}
}

// beforePlugging asks what opening the port would take away.
func (t *talk) beforePlugging(ctx context.Context) (done bool, err error) {
	t.say("Opening the port feeds and restarts the board. First, what it would hide:")
	for _, id := range []string{"cold-start", "reset-button", "deaf-after"} {
		i := t.k.Test(id)
		if i < 0 {
			continue
		}
		if done, err := t.question(ctx, i); err != nil || done {
			return true, err
		}
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

// ended is a conversation that somebody broke off: the result so far is printed.
func (t *talk) ended(ctx context.Context) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return t.finish(t.d)
}

func (t *talk) loop(ctx context.Context) error {
	t.tried = map[string]bool{}
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
			return t.finish(t.d)
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

// show prints the three that lead.
func (t *talk) show(r *diagnose.Result) {
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
	for i, v := range f.Values {
		t.say("   %d  %s", i+1, v.Tell)
	}
	for {
		line, ok := t.put(ctx, k.Ask+" (number or words; Enter: cannot tell; TEST=RESULT: something else; q: stop)")
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
	switch {
	case !ok, line == "q":
		return false, true, t.ended(ctx)
	case line == "":
		t.situation.Done[test] = true
		t.test(k.Ask, "Not done")
		return false, false, nil
	case strings.Contains(line, "="):
		if err := t.tell(line); err != nil {
			t.say("%v", err)
			return true, false, nil
		}
		t.readBack()
		return false, false, nil
	}
	v := f.Choose(line)
	if v < 0 {
		t.say("%q is none of these; say a number, or TEST=RESULT.", line)
		return true, false, nil
	}
	answer := k.ID + "=" + f.Values[v].ID
	if err := t.tell(answer); err != nil {
		return false, true, err
	}
	t.situation.Done[test] = true
	t.situation.Opened = t.situation.Opened || k.Opens
	t.test(k.Ask, f.Values[v].Tell)
	t.say("   taken as: %s", t.k.Words(diagnose.Observation{Finding: k.Finding, Value: v}))
	if t.situation.Minutes > 0 {
		t.situation.Minutes = max(1, t.situation.Minutes-k.Minutes)
	}
	return false, false, nil
}

// readBack says what the last answer was taken for, and puts it into the story.
func (t *talk) readBack() {
	h := t.heard[len(t.heard)-1]
	ask, answer, _ := strings.Cut(h.Told, "=")
	t.test(strings.TrimSpace(ask)+":", strings.TrimSpace(answer))
	if len(h.As) == 0 {
		t.say("   no test that is known; it counts a little, by its words")
		return
	}
	t.say("   taken as: %s", join(h.As))
}

// repair proposes a repair and asks what came of it.
func (t *talk) repair(ctx context.Context, c diagnose.Ranked) (done bool, err error) {
	t.say("=> %s: %s", c.Title, c.Remedy)
	if c.Caution != "" {
		t.say("!! %s", c.Caution)
	}
	line, ok := t.put(ctx, "Done: did it cure? (yes, no, Enter: not tried, q: stop)")
	switch {
	case !ok, line == "q":
		return true, t.ended(ctx)
	case line == "":
		return false, nil
	case strings.Contains(line, "="):
		if err := t.tell(line); err != nil {
			t.say("%v", err)
			return false, nil
		}
		t.readBack()
		delete(t.tried, c.ID)
		return false, nil
	case strings.HasPrefix(strings.ToLower(line), "y"):
		t.repaired(c, true)
		t.say("%s", t.proof)
		return true, t.finishCured(c)
	}
	t.repaired(c, false)
	return false, t.tell(c.ID + "=no")
}

// finishCured writes the files and ends.
func (t *talk) finishCured(c diagnose.Ranked) error {
	t.heard = append(t.heard, diagnose.Heard{Told: c.ID + "=yes", As: []string{"cured"}})
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
