package main

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/checklisttest"
	"propwright/parsers"
	"propwright/serialmon/clock"
)

// A replier is somebody at a terminal who answers each question by its words; what no
// row has words for is answered with Enter alone.
type replier struct {
	replies [][2]string // words of the question, answer
	typed   io.Writer
	shown   strings.Builder
	asked   int // up to where questions are answered
}

// Write takes what is shown, and answers each question once it is whole.
func (r *replier) Write(b []byte) (int, error) {
	r.shown.Write(b)
	text := r.shown.String()
	for {
		at := strings.Index(text[r.asked:], "?? ")
		if at < 0 {
			return len(b), nil
		}
		at += r.asked
		end := strings.Index(text[at:], "\n")
		if end < 0 {
			return len(b), nil
		}
		r.asked = at + end
		answer := ""
		for _, row := range r.replies {
			if strings.Contains(text[at:at+end], row[0]) {
				answer = row[1]
				break
			}
		}
		if _, err := io.WriteString(r.typed, answer+"\n"); err != nil {
			return len(b), err
		}
	}
}

// typist hands lines on in a goroutine of its own, so that who asks need not wait.
func typist(t *testing.T) (io.Reader, io.Writer) {
	t.Helper()
	in, out := io.Pipe()
	lines := make(chan []byte, 1000)
	t.Cleanup(func() { close(lines); out.Close() })
	go func() {
		for line := range lines {
			if _, err := out.Write(line); err != nil {
				return
			}
		}
	}()
	return in, chanWriter(lines)
}

type chanWriter chan<- []byte

func (c chanWriter) Write(b []byte) (int, error) { c <- slices.Clone(b); return len(b), nil }

// zeroChip is a chip step that failed as the checklist words it, with the console of it.
func zeroChip(t *testing.T, log *checklist.Log) checklist.Decision {
	t.Helper()
	p, err := checklist.BuiltinProcedure(checklist.ProcedureNew)
	if err != nil {
		t.Fatal(err)
	}
	profiles, err := parsers.Auto()
	if err != nil {
		t.Fatal(err)
	}
	stream := parsers.NewStream(profiles...)
	emit := func(e parsers.Event) {
		if _, err := log.Append(checklist.Entry{Type: checklist.EntryEvent, Event: &e}); err != nil {
			t.Fatal(err)
		}
	}
	stream.Feed([]byte("boot: starting reader\nreader: version 0x0 (unknown)\nboot: ready\n"), time.Time{}, emit)
	stream.Flush(emit)
	i := slices.IndexFunc(p.Steps, func(s checklist.Step) bool { return s.ID == "reader-chip" })
	return checklist.Decision{Step: p.Steps[i], Outcome: checklist.Outcome{Verdict: checklist.Failed, Findings: []checklist.Finding{
		{What: "version register", Verdict: checklist.Failed, Value: checklist.Text("0x00 in 10 of 10 starts"), Note: "The chip does not answer."},
		{What: "self-test", Verdict: checklist.NotConfirmed, Value: checklist.Text("not run")},
	}}}
}

// From the failed step to its cause: offered, declined, gone through to a repair, and
// ended in each way that there is; the run's own evidence is in it.
func TestAFailedStepGoesOnIntoTheDiagnosis(t *testing.T) {
	tests := map[string]struct {
		replies [][2]string
		check   func(*testing.T, *checklist.Diagnosis)
		err     error
	}{
		"declined": {check: func(t *testing.T, d *checklist.Diagnosis) {
			if d != nil {
				t.Errorf("on record: %+v; want nothing", d)
			}
		}},
		"cured": {
			replies: [][2]string{{"Find the cause now?", "yes"}, {"What is amiss", "header pressed=version turns good"}, {"did it cure?", "yes"}, {"What did the repair change?", "soldering"}},
			check: func(t *testing.T, d *checklist.Diagnosis) {
				if d == nil || !d.Cured || d.Cause == nil || len(d.Repairs) != 1 || d.Cause.ID != d.Repairs[0].Cause.ID || !slices.Equal(d.Changed, []string{"soldering"}) {
					t.Fatalf("on record: %+v; want one repair, which cured, and what it changed", d)
				}
				if p := d.Cause.Probability; p <= 0 || p > 1 || len(d.Tests) == 0 || d.Tests[0].Answer != "version turns good" {
					t.Errorf("cause %+v after %+v; want a probability, and the tests as they were answered", d.Cause, d.Tests)
				}
				if want := "version register: 0x00 in 10 of 10 starts"; !slices.Equal(d.Symptom, []string{want}) {
					t.Errorf("symptom %q, want %q alone", d.Symptom, want)
				}
			},
		},
		"stopped": {
			replies: [][2]string{{"Find the cause now?", "yes"}, {"How many minutes", "3"}, {"q: stop", "q"}},
			check: func(t *testing.T, d *checklist.Diagnosis) {
				if d == nil || d.Cured || d.Reflash || len(d.Repairs) > 0 {
					t.Errorf("on record: %+v; want a story without a cure", d)
				}
			},
		},
		"new firmware": {
			replies: [][2]string{{"Find the cause now?", "yes"}, {"q: stop", "reflash"}},
			check: func(t *testing.T, d *checklist.Diagnosis) {
				if d == nil || !d.Reflash || d.Cured {
					t.Errorf("on record: %+v; want that it ended with new firmware", d)
				}
			},
		},
		"aborted": {
			replies: [][2]string{{"Find the cause now?", "yes"}, {"q: stop", "abort group at the door"}}, err: checklist.ErrAborted,
			check: func(t *testing.T, d *checklist.Diagnosis) {
				if d == nil {
					t.Error("nothing on record of a search that was broken off")
				}
			},
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			in, typed := typist(t)
			shown := &replier{replies: tt.replies, typed: typed}
			p := newTerminalPerson(shown, false, silence{}, "Ada")
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			go p.read(ctx, in)
			log := checklist.NewLog(clock.Real(), &checklisttest.Keeper{}, nil)
			d := testDeps()
			d.err = shown
			run := &conduct{folder: &runFolder{dir: t.TempDir()}, log: log, engine: &checklist.Engine{}, board: &portBoard{}}
			step := zeroChip(t, log)
			findCauses(d, commissionOptions{prop: "bell"}, t.TempDir(), run, cast{talks: p, commands: p.commands})
			made, err := run.engine.Failed(ctx, step)
			if !errors.Is(err, tt.err) {
				t.Fatalf("error %v, want %v\n%s", err, tt.err, &shown.shown)
			}
			tt.check(t, made)
			if made != nil && !strings.Contains(shown.shown.String(), "1 ") {
				t.Errorf("no cause was shown:\n%s", &shown.shown)
			}
		})
	}
}

// Without a terminal nobody is asked.
func TestNobodyIsAskedForCausesWithoutATerminal(t *testing.T) {
	for name, d := range map[string]deps{
		"no terminal":         {},
		"messages to a file":  {inTTY: true},
		"input from a file":   {errTTY: true},
		"with answers before": {inTTY: true, errTTY: true},
	} {
		t.Run(name, func(t *testing.T) {
			base := testDeps()
			base.inTTY, base.errTTY, base.err = d.inTTY, d.errTTY, io.Discard
			o := commissionOptions{mute: true}
			if name == "with answers before" {
				o.answers = "no such file"
			}
			var c cast
			_ = people(t.Context(), base, o, checklist.Procedure{}, &c) // the missing file is not what this is about
			run := &conduct{engine: &checklist.Engine{}}
			findCauses(base, o, "", run, c)
			if run.engine.Failed != nil {
				t.Error("somebody would be asked")
			}
		})
	}
}
