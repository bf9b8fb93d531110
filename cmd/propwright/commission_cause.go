package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"

	"propwright/checklist"
	"propwright/checklist/diagnose"
	"propwright/parsers"
)

// errFlashNow ends a talk because the board is to get new firmware.
var errFlashNow = errors.New("the board gets new firmware")

// A causeFinder goes from a failed step straight on into the diagnosis, with somebody at
// a terminal.
type causeFinder struct {
	d        deps
	o        diagnoseOptions
	run      *conduct
	person   *terminalPerson
	commands <-chan checklist.Command
}

// findCauses has the causes of failed steps looked for, where somebody is at a terminal
// who can be talked with.
func findCauses(d deps, o commissionOptions, site string, run *conduct, c cast) {
	if c.talks == nil {
		return
	}
	d.out = d.err // stdout has a line for each step, and nothing else
	f := &causeFinder{d: d, run: run, person: c.talks, commands: c.commands, o: diagnoseOptions{prop: o.prop, site: site}}
	run.engine.Failed, run.engine.Unfinished = f.find, f.wasCutOff
}

// find offers to look for the cause and, where that is wanted, does. A note that is said
// meanwhile is kept; abort ends the run, reflash the talk.
func (f *causeFinder) find(ctx context.Context, step checklist.Decision) (made *checklist.Diagnosis, err error) {
	ctx, cancel := context.WithCancelCause(ctx)
	var listening sync.WaitGroup
	defer listening.Wait()
	defer cancel(nil)
	listening.Go(func() {
		unasked(ctx, cancel, f.person, f.commands, "First end the search for the cause with q; a note is kept.", f.obey)
	})
	a, err := f.person.Ask(ctx, checklist.Question{
		Key: "find-cause", Kind: checklist.AskConfirm, Refuse: true,
		Text: fmt.Sprintf("%s failed. Find the cause now?", step.Step.Title),
	})
	if err != nil {
		if errors.Is(context.Cause(ctx), errFlashNow) {
			return &checklist.Diagnosis{Symptom: symptom(step.Outcome), Reflash: true}, nil
		}
		return nil, err
	}
	if a.Text != "yes" {
		if f.wasCutOff(step.Step) {
			return nil, keepTold(f.talkFile(), told{At: f.d.now(), Of: stepName(step.Step), Ended: endedLeft})
		}
		return nil, nil
	}
	return f.talk(ctx, step)
}

// obey takes what is said unasked: a note, the end of the run, or of the talk.
func (f *causeFinder) obey(c checklist.Command) error {
	switch c.Verb {
	case checklist.CommandAbort:
		if _, err := f.run.log.Append(checklist.Entry{Type: checklist.EntryNote, Note: checklist.AbortNote + c.Text}); err != nil {
			return err
		}
		return checklist.ErrAborted
	case checklist.CommandNote:
		_, err := f.run.log.Append(checklist.Entry{Type: checklist.EntryNote, Note: c.Text})
		return err
	case checklist.CommandReflash:
		if f.run.board != nil {
			return errFlashNow
		}
	}
	return nil
}

// talk is the talk of the command diagnose, fed with what the run has heard and goes on
// hearing.
func (f *causeFinder) talk(ctx context.Context, step checklist.Decision) (*checklist.Diagnosis, error) {
	k, err := loadKnowledge(f.o.site)
	if err != nil {
		return nil, err
	}
	c := &diagnosis{k: k, o: f.o, source: f.run.folder.dir, situation: diagnose.Situation{Done: map[int]bool{}}}
	c.read, c.failed = failedSteps(k, f.run)
	c.live = hearing(k, f.run, step.Step.Check)
	c.bench = f.run.atBench()
	c.plan.item = &f.run.engine.Item
	c.situation.Facts = []diagnose.Fact{diagnose.FactPlanned, diagnose.FactDials}
	if c.bench != nil {
		c.situation.Facts = append(c.situation.Facts, diagnose.FactConsole)
	}
	t := newTalk(c, f.d)
	t.put, t.proof = f.person.converse, "What proves it is the step: it runs again now."
	t.file, t.of = f.talkFile(), stepName(step.Step)
	t.made.Symptom = symptom(step.Outcome)
	err = t.whole(ctx)
	made := &t.made
	made.Cause = t.leading()
	if err == nil && made.Cured {
		made.Changed, _, err = saidChanged(ctx, f.person, "What did the repair change? What rested on it runs again too.")
	}
	switch cause := context.Cause(ctx); {
	case errors.Is(cause, errFlashNow):
		made.Reflash, err = true, nil
	case cause != nil:
		err = cause
	}
	return made, err
}

// talkFile keeps the talks of a run as they go, beside its journal.
func (f *causeFinder) talkFile() string { return filepath.Join(f.run.folder.dir, "diagnosis.jsonl") }

// stepName tells a step's talk from those of others.
func stepName(s checklist.Step) string { return fmt.Sprintf("%s/%s/%d", s.Sitting, s.ID, s.Reader) }

// whole is a talk from its first question, or from where it was cut off.
func (t *talk) whole(ctx context.Context) error {
	if _, err := t.goOn(ctx); err != nil {
		return err
	}
	ok, err := t.minutes(ctx)
	if err != nil {
		return err
	}
	if !ok {
		return t.ended(ctx)
	}
	return t.loop(ctx)
}

// wasCutOff reports whether the talk about a failed step was begun and not ended.
func (f *causeFinder) wasCutOff(s checklist.Step) bool {
	open, err := cutOff(f.talkFile(), stepName(s))
	return err == nil && len(open) > 0
}

// atBench is the run's board as a script needs it; nil without a port.
func (run *conduct) atBench() *bench {
	if run.board == nil {
		return nil
	}
	return &bench{clock: run.clock, reset: run.board.Reset, since: func(from int64) ([]parsers.Event, int64) {
		var heard []parsers.Event
		for _, e := range run.log.Entries(from) {
			from = e.N
			if e.Event != nil {
				heard = append(heard, *e.Event)
			}
		}
		return heard, from
	}}
}

// leading is the cause that cured, else the one that leads now; nil for neither.
func (t *talk) leading() *checklist.DiagnosisCause {
	for _, r := range t.made.Repairs {
		if r.Cured {
			return &r.Cause
		}
	}
	r, err := t.result()
	if err != nil || r.Verdict != diagnose.VerdictFault {
		return nil
	}
	c := causeOf(r.Causes[0])
	return &c
}

// symptom is what a step failed for, in words.
func symptom(o checklist.Outcome) []string {
	words := []string{}
	for _, f := range o.Findings {
		if f.Verdict != checklist.Failed {
			continue
		}
		text := f.What
		if f.Value.Text != "" {
			text += ": " + f.Value.Text
		}
		if f.Limit != nil && f.Limit.Text != "" {
			text += ", against " + f.Limit.Text
		}
		words = append(words, text)
	}
	return words
}

// failedSteps is what the failed steps of a run stand for, and their ids.
func failedSteps(k *diagnose.Knowledge, run *conduct) (read [][]diagnose.Evidence, ids []string) {
	outcomes := checklist.Outcomes(run.log.Entries(0), run.folder.procedure)
	for _, s := range run.folder.procedure.Steps {
		if o := outcomes[s.Place()]; o.Verdict == checklist.Failed {
			read = append(read, k.FailedStep(s.ID, o.Findings))
			ids = append(ids, s.ID)
		}
	}
	return read, ids
}

// hearing reads a run's console and what the stand-in saw on, from their beginning to what
// has come by the time that it is asked. A checklist leads the board, so restarts and
// strangers say nothing. check is that of the step that failed.
func hearing(k *diagnose.Knowledge, run *conduct, check string) func() []diagnose.Evidence {
	reading, frames, at := k.NewReading(), []checklist.Frame(nil), int64(0)
	return func() []diagnose.Evidence {
		for _, e := range run.log.Entries(at) {
			at = e.N
			switch {
			case e.Event != nil:
				reading.Take(*e.Event)
			case e.Frame != nil:
				frames = append(frames, *e.Frame)
			}
		}
		seen := k.Led(reading.Evidence())
		if run.standIn == nil {
			return seen
		}
		return diagnose.Merge(seen, k.LedFrames(frames, onlyCoil(run.engine.Item), check == "link"))
	}
}

// onlyCoil is the coil that the plan gives to a board of one reader, 0 for several.
func onlyCoil(it checklist.Item) int {
	if len(it.Readers) != 1 {
		return 0
	}
	return it.Readers[0].Coil
}
