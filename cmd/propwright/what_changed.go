package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"propwright/checklist"
)

// anotherDay is how long a run lies until something can have changed that nobody
// said: a night, no lunch (common practice, no source).
const anotherDay = 8 * time.Hour

// lainSince is when the run was last gone on with; ok is false while that is not long
// enough ago to ask what changed.
func (f *runFolder) lainSince(now time.Time) (since time.Time, ok bool) {
	if len(f.entries) == 0 {
		return time.Time{}, false
	}
	since = f.entries[len(f.entries)-1].At
	return since, now.Sub(since) >= anotherDay
}

// whatChanged asks what changed since a time, and goes on asking until the answer is
// "nothing" or a list of what evidence can rest on. What is said unasked meanwhile has
// no step to go to; its end, and abort, end the asking.
func whatChanged(ctx context.Context, p checklist.Person, commands <-chan checklist.Command, since time.Time) (changed []string, a checklist.Answer, err error) {
	ctx, cancel := context.WithCancelCause(ctx)
	var listening sync.WaitGroup
	defer listening.Wait()
	defer cancel(nil)
	if commands != nil {
		listening.Go(func() {
			unasked(ctx, cancel, p, commands, "No step is under way yet; first say what changed.", func(c checklist.Command) error {
				if c.Verb == checklist.CommandAbort {
					return interruptedError{checklist.ErrAborted}
				}
				return nil
			})
		})
	}
	return saidChanged(ctx, p, "What changed since "+since.UTC().Format("2 Jan 2006, 15:04 UTC")+"?")
}

// saidChanged puts a question until the answer is "nothing" or a list of what evidence
// can rest on.
func saidChanged(ctx context.Context, p checklist.Person, ask string) (changed []string, a checklist.Answer, err error) {
	q := checklist.Question{Key: "changed", Kind: checklist.AskText, Form: "nothing, or a list of " + strings.Join(checklist.ChangeNames(), ", ")}
	for q.Text = ask; ; {
		if a, err = p.Ask(ctx, q); err != nil {
			return nil, a, err
		}
		said := strings.FieldsFunc(strings.ToLower(a.Text), func(r rune) bool { return r == ',' || r == ' ' })
		if slices.Equal(said, []string{"nothing"}) {
			said = nil
		}
		i := slices.IndexFunc(said, func(s string) bool { return !slices.Contains(checklist.ChangeNames(), s) })
		if i < 0 {
			a.Question = q
			return said, a, nil
		}
		q.Text = fmt.Sprintf("%q is none of what a step can rest on. %s", said[i], ask)
	}
}

// unasked takes commands while no step is under way. One that obey has an error for
// ends the waiting with it; all others get the reply.
func unasked(ctx context.Context, cancel context.CancelCauseFunc, p checklist.Person, commands <-chan checklist.Command, reply string,
	obey func(checklist.Command) error) {
	for {
		select {
		case <-ctx.Done():
			return
		case c, open := <-commands:
			if !open {
				cancel(checklist.ErrPersonGone)
				return
			}
			if err := obey(c); err != nil {
				cancel(err)
				return
			}
			if p.Instruct(ctx, checklist.Instruction{Act: checklist.ActNote, Text: reply}) != nil {
				return
			}
		}
	}
}
