package main

import (
	"context"
	"fmt"
	"io"

	"github.com/BurntSushi/toml"

	"propwright/checklist"
	"propwright/parsers"
)

// answersFile answers from a file: a table a step id, with answer, value and
// unit, or skip with the reason. What it does not answer is passed on.
type answersFile struct {
	name    string
	answers map[string]fileAnswer
	next    checklist.Person // shows instructions; answers nothing
}

type fileAnswer struct {
	Answer string   `toml:"answer"`
	Value  *float64 `toml:"value"`
	Unit   string   `toml:"unit"`
	Skip   string   `toml:"skip"`
	// What must be said outright, each under its question's own name.
	RoomClear   string `toml:"room-clear"`
	ExitRelease string `toml:"exit-release"`
}

// outright is the answer to a question that a general answer does not answer.
func (a fileAnswer) outright(key string) string {
	return map[string]string{"room-clear": a.RoomClear, "exit-release": a.ExitRelease}[key]
}

// readAnswers reads an answers file; a step that the procedure does not have and
// a key that is not known are errors that name file and line or field.
func readAnswers(name string, r io.Reader, p checklist.Procedure) (map[string]fileAnswer, error) {
	answers := map[string]fileAnswer{}
	meta, err := toml.NewDecoder(r).Decode(&answers)
	if err != nil {
		return nil, fmt.Errorf("answers %w", parsers.BrokenTOML(name, err))
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return nil, fmt.Errorf("answers %s: field %q: not known, there are answer, value, unit, skip, room-clear and exit-release", name, unknown[0].String())
	}
	for _, key := range meta.Keys() {
		if len(key) == 1 && !p.HasStep(key[0]) {
			return nil, fmt.Errorf("answers %s: step %q: procedure %q has no such step", name, key[0], p.Name)
		}
	}
	return answers, nil
}

// skips are the steps that the file leaves out, with the reasons.
func (a answersFile) skips() map[string]string {
	skip := map[string]string{}
	for id, answer := range a.answers {
		if answer.Skip != "" {
			skip[id] = answer.Skip
		}
	}
	return skip
}

// Instruct shows the instruction.
func (a answersFile) Instruct(ctx context.Context, in checklist.Instruction) error {
	return a.next.Instruct(ctx, in)
}

// Hear passes the signal on.
func (a answersFile) Hear(sig checklist.Signal) { checklist.Tell(a.next, sig) }

// Ask answers from the file.
func (a answersFile) Ask(_ context.Context, q checklist.Question) (checklist.Answer, error) {
	answer, ok := a.answers[q.Step]
	if q.Refuse {
		if said := answer.outright(q.Key); said != "" {
			return checklist.Answer{Text: said, By: "answers file"}, nil
		}
		return checklist.Answer{}, fmt.Errorf("answers %s: step %q: field %s: missing: %w", a.name, q.Step, q.Key, checklist.ErrNoAnswer)
	}
	switch {
	case ok && q.Kind == checklist.AskFigure && answer.Value != nil:
		return checklist.Answer{Value: answer.Value, Unit: answer.Unit, By: "answers file"}, nil
	case ok && q.Kind != checklist.AskFigure && answer.Answer != "":
		return checklist.Answer{Text: answer.Answer, By: "answers file"}, nil
	}
	want := "answer"
	if q.Kind == checklist.AskFigure {
		want = "value"
	}
	return checklist.Answer{}, fmt.Errorf("answers %s: step %q: field %s: missing: %w", a.name, q.Step, want, checklist.ErrNoAnswer)
}
