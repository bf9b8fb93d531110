package checklist

import (
	"context"
	"errors"
	"fmt"
)

// AbortNote begins the remark that a run was ended by the person.
const AbortNote = "run ended by the person: "

// ErrAborted says that the person ended the run.
var ErrAborted = errors.New("run ended by the person")

// A Command is what a person says without being asked, while a step waits.
type Command struct {
	Verb CommandVerb
	Text string // the reason, or the remark
}

// A CommandVerb is one of the things a person may say unasked.
type CommandVerb string

// The verbs.
const (
	CommandNote  CommandVerb = "note"  // put a remark on record
	CommandSkip  CommandVerb = "skip"  // leave the step out, for a reason
	CommandAgain CommandVerb = "again" // begin the step again
	CommandAbort CommandVerb = "abort" // end the run, for a reason
)

// errSkip ends an attempt because the person leaves the step out.
type errSkip struct{ reason string }

func (e errSkip) Error() string { return "skipped: " + e.reason }

// errAgain ends an attempt because the person wants the step from its beginning.
var errAgain = errors.New("begun again by the person")

// listen takes commands until ctx ends; what ends the attempt becomes the cause
// with which it cancels. The end of the commands is the person's going.
func (e *Engine) listen(ctx context.Context, cancel context.CancelCauseFunc) {
	for {
		select {
		case <-ctx.Done():
			return
		case c, open := <-e.Commands:
			if !open {
				cancel(ErrPersonGone)
				return
			}
			if err := e.obey(c); err != nil {
				cancel(err)
				return
			}
		}
	}
}

// obey returns the error that a command ends the attempt with, nil when it does
// not end it.
func (e *Engine) obey(c Command) error {
	if c.Verb == CommandNote || c.Verb == CommandAbort {
		text := c.Text
		if c.Verb == CommandAbort {
			text = AbortNote + c.Text
		}
		if _, err := e.Log.Append(Entry{Type: EntryNote, Note: text}); err != nil {
			return err
		}
	}
	switch c.Verb {
	case CommandSkip:
		return errSkip{c.Text}
	case CommandAgain:
		return errAgain
	case CommandAbort:
		return fmt.Errorf("%w: %s", ErrAborted, c.Text)
	}
	return nil
}
