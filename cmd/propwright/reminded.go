package main

import (
	"context"

	"propwright/checklist"
)

// A reminded check tells of something to tidy once it is through.
type reminded struct {
	checklist.Check
	text string
}

// Run runs the check and then tells.
func (r reminded) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	findings, err := r.Check.Run(ctx, s)
	if err != nil {
		return findings, err
	}
	return findings, s.Instruct(ctx, checklist.Instruction{Act: checklist.ActNote, Text: r.text})
}
