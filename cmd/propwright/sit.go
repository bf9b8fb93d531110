package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/serialmon/clock"
)

// A signing is how a sitting is signed.
type signing struct {
	signer      report.Signer
	key         report.Key
	fingerprint []byte
	issued      func() time.Time
	limitations []string
}

// walk walks the open steps of a sitting, with the stand-in at work.
func (run *conduct) walk(ctx context.Context, sitting checklist.Sitting) (checklist.Verdict, error) {
	if run.standIn != nil {
		if err := run.standIn.Resume(); err != nil {
			return checklist.NotConfirmed, err
		}
	}
	return run.engine.Run(ctx, sitting)
}

// settle lets what is under way on a simulated clock come in, such as a board's dial
// that the stand-in has not taken yet: given up then, nobody would count it off, and
// the clock would stand still for ever. On any other clock it takes no time.
func settle(ctx context.Context, clk clock.Clock) {
	_ = clk.Sleep(ctx, time.Nanosecond) // a run that is called off has no time to let pass
}

// sit walks the open steps of a sitting and writes the signed report. A run that
// the person ended is reported like any other; one that stopped for another reason
// is left to be resumed.
func (run *conduct) sit(ctx context.Context, sitting checklist.Sitting, s signing) (checklist.Verdict, error) {
	verdict, err := run.walk(ctx, sitting)
	if errors.Is(err, checklist.ErrAborted) {
		verdict, err = checklist.NotConfirmed, nil
	}
	if err != nil {
		return verdict, err
	}
	// Port and stand-in are let go before the records are signed: nothing may come
	// after that.
	settle(ctx, run.clock)
	if run.board != nil {
		err = errors.Join(err, run.board.Detach())
	}
	if run.standIn != nil {
		err = errors.Join(err, run.standIn.Pause())
	}
	if syncErr := run.log.Sync(); syncErr != nil {
		return verdict, errors.Join(err, syncErr)
	}
	in := report.Inputs{
		Signer: s.signer, Sitting: sitting, Issued: s.issued(), Fingerprint: s.fingerprint, Limitations: s.limitations,
	}
	_, writeErr := report.Write(run.folder.dir, run.log.Entries(0), run.folder.procedure.Steps, in, s.key)
	if writeErr != nil {
		writeErr = fmt.Errorf("write report: %w", writeErr)
	}
	return verdict, errors.Join(err, writeErr)
}
