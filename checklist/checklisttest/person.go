package checklisttest

import (
	"context"
	"fmt"
	"sync"

	"propwright/checklist"
)

// A Person follows instructions by a script and answers from a list. It is safe
// for concurrent use.
type Person struct {
	// Hands is told of each instruction; nil does nothing.
	Hands func(checklist.Instruction)
	// Answers are the answers to give, by the question's key.
	Answers map[string]string

	mu    sync.Mutex
	told  []checklist.Instruction
	asked map[string]int
}

// Instruct passes the instruction on to Hands.
func (p *Person) Instruct(_ context.Context, in checklist.Instruction) error {
	p.mu.Lock()
	p.told = append(p.told, in)
	p.mu.Unlock()
	if p.Hands != nil {
		p.Hands(in)
	}
	return nil
}

// Ask answers from Answers; the error of a question that has no answer there
// wraps checklist.ErrNoAnswer.
func (p *Person) Ask(_ context.Context, q checklist.Question) (checklist.Answer, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	text, ok := p.Answers[q.Key]
	if !ok {
		return checklist.Answer{}, fmt.Errorf("question %q: %w", q.Key, checklist.ErrNoAnswer)
	}
	if p.asked == nil {
		p.asked = map[string]int{}
	}
	p.asked[q.Key]++
	return checklist.Answer{Text: text, By: "scripted person"}, nil
}

// Told returns the instructions so far.
func (p *Person) Told() []checklist.Instruction {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]checklist.Instruction(nil), p.told...)
}

// Left returns the keys of answers that nobody asked for.
func (p *Person) Left() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var left []string
	for key := range p.Answers {
		if p.asked[key] == 0 {
			left = append(left, key)
		}
	}
	return left
}
