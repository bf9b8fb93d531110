package main

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"

	"propwright/checklist"
	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

// connectDemo joins the board to this computer: over a real pseudo-terminal and
// the serial library, or where the system has none over a line in the process,
// which is said.
func connectDemo(d deps, board *virtual.Board) (serialmon.Options, error) {
	line, err := virtual.NewPtyLine("")
	if errors.Is(err, errors.ErrUnsupported) {
		fmt.Fprintf(d.err, "%s has no pseudo-terminals: the demo uses a line inside the process\n", runtime.GOOS)
		memory := virtual.NewMemoryLine()
		if err := board.Connect(memory); err != nil {
			return serialmon.Options{}, toolError{what: "demo line", err: err}
		}
		return serialmon.Options{Open: memory.Open, Name: "demo line"}, nil
	}
	if err == nil {
		err = board.Connect(line)
	}
	if err != nil {
		return serialmon.Options{}, toolError{what: "demo line", err: err}
	}
	return serialmon.Options{Open: serialmon.OpenSerial, Name: line.Path()}, nil
}

// demoHands serves the board's control channel and takes hold of it, as hands in
// another process would. What hands and eyes cannot know comes from the demo's
// answers.
func demoHands(ctx context.Context, board *virtual.Board, clk clock.Clock, p checklist.Procedure) (*virtualHands, func(), error) {
	answers, err := readAnswers("demo answers", strings.NewReader(demoAnswersTo(p)), p)
	if err != nil {
		return nil, nil, err
	}
	said := answersFile{name: "demo answers", answers: answers, next: onlooker{}}
	l, remove, err := listenControl()
	if err != nil {
		return nil, nil, err
	}
	ctx, stop := context.WithCancel(ctx)
	served := make(chan error, 1)
	go func() { served <- virtual.ServeControl(ctx, l, board) }()
	hands, err := dialHands(l.Addr().String(), clk, said)
	end := func() {
		stop()
		<-served
		remove()
	}
	if err != nil {
		end()
		return nil, nil, toolError{what: "control channel", err: err}
	}
	return hands, end, nil
}

// An onlooker is told of instructions and does not mind.
type onlooker struct{}

// Instruct does nothing.
func (onlooker) Instruct(context.Context, checklist.Instruction) error { return nil }

// Ask has no answer.
func (onlooker) Ask(context.Context, checklist.Question) (checklist.Answer, error) {
	return checklist.Answer{}, checklist.ErrNoAnswer
}
