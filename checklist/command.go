package checklist

import (
	"context"
	"errors"
	"fmt"
	"sync"
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
	CommandNote    CommandVerb = "note"    // put a remark on record
	CommandSkip    CommandVerb = "skip"    // leave the step out, for a reason
	CommandAgain   CommandVerb = "again"   // begin the step again
	CommandReflash CommandVerb = "reflash" // let the port go for new firmware, and take it back
	CommandAbort   CommandVerb = "abort"   // end the run, for a reason
)

// errSkip ends an attempt because the person leaves the step out.
type errSkip struct{ reason string }

func (e errSkip) Error() string { return "skipped: " + e.reason }

// errAgain ends an attempt because the person wants the step from its beginning.
var errAgain = errors.New("begun again by the person")

// heed runs f while commands are taken. One that obey has an error for ends f: that
// error becomes the cause of its context's end. The end of the commands is the
// person's going.
func (e *Engine) heed(ctx context.Context, obey func(context.Context, Command) error, f func(context.Context) error) error {
	if e.Commands == nil {
		return f(ctx)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	var listening sync.WaitGroup
	defer listening.Wait()
	defer cancel(nil)
	listening.Go(func() {
		for {
			select {
			case <-ctx.Done():
				return
			case c, open := <-e.Commands:
				if !open {
					cancel(ErrPersonGone)
					return
				}
				if err := obey(ctx, c); err != nil {
					cancel(err)
					return
				}
			}
		}
	})
	return f(ctx)
}

// obey returns the error that a command ends the attempt with, nil when it does
// not end it.
func (e *Engine) obey(ctx context.Context, c Command) error {
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
	case CommandReflash:
		if e.Board == nil || e.Log.Belief().Attached != Yes {
			return e.Person.Instruct(ctx, Instruction{Act: ActNote, Text: "The port is not open, so there is nothing to let go of: say reflash in a step that listens to the board."})
		}
		return errReflash
	case CommandAbort:
		return fmt.Errorf("%w: %s", ErrAborted, c.Text)
	}
	return nil
}
