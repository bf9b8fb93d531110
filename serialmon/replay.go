package serialmon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"propwright/parsers"
	"propwright/serialmon/clock"
)

// Playback says what to replay and how.
type Playback struct {
	Console  io.Reader
	Arrivals io.Reader // nil: no times are known
	Name     string    // for the marks
	// Realtime keeps the pauses of the recording; otherwise it goes as fast as the
	// sink takes it. The times that the sink is given are the recorded ones always.
	Realtime bool
	Clock    clock.Clock // clock.Real when nil; used with Realtime only
	Sink     Sink
}

// Replay gives a recorded capture to a sink: attached, the bytes with the gaps
// between attachments, detached. A broken place in the arrivals loses no bytes; it
// comes back as a *parsers.CaptureError after everything was given out. On a
// simulated clock the caller must count as under way.
func Replay(ctx context.Context, play Playback) error {
	if play.Clock == nil {
		play.Clock = clock.Real()
	}
	r := &replay{play: play}
	err := parsers.ReadCapture(play.Console, play.Arrivals, func(p parsers.Piece) error {
		p.Bytes = bytes.Clone(p.Bytes) // a sink may keep what it gets
		return r.piece(ctx, p)
	})
	if broken, ok := errors.AsType[*parsers.CaptureError](err); err != nil && !ok {
		return err
	} else if ok {
		err = broken
	}
	if r.attachment == 0 {
		if err := r.attach(time.Time{}); err != nil {
			return err
		}
	}
	if end := r.mark(Mark{Kind: MarkDetached, At: r.at, Why: WhyEnded}); end != nil {
		return end
	}
	return err
}

// ReplayDir replays the capture in a folder, with its times where it has any.
func ReplayDir(ctx context.Context, dir string, play Playback) error {
	console, err := os.Open(filepath.Join(dir, ConsoleFile))
	if err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	defer console.Close()
	play.Console = console
	arrivals, err := os.Open(filepath.Join(dir, ArrivalsFile))
	switch {
	case err == nil:
		defer arrivals.Close()
		play.Arrivals = arrivals
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("replay: %w", err)
	}
	if play.Name == "" {
		play.Name = dir
	}
	return Replay(ctx, play)
}

// replay is the state of one Replay.
type replay struct {
	play       Playback
	attachment int // 1 once attached was told
	offset     int64
	first, at  time.Time // recorded: of the first piece and of the last one
	begun      time.Time // when the first piece was given out
}

func (r *replay) piece(ctx context.Context, p parsers.Piece) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err := r.pause(ctx, p.At); err != nil {
		return err
	}
	if p.Gap != nil {
		return r.gap(ctx, *p.Gap)
	}
	if r.attachment == 0 {
		if err := r.attach(p.At); err != nil {
			return err
		}
	}
	if !p.At.IsZero() {
		r.at = p.At
	}
	r.offset = p.Offset + int64(len(p.Bytes))
	return r.play.Sink.Bytes(p.Bytes, p.At, p.Offset)
}

// pause waits until as much time has passed as in the recording.
func (r *replay) pause(ctx context.Context, at time.Time) error {
	if !r.play.Realtime || at.IsZero() {
		return nil
	}
	if r.first.IsZero() {
		r.first, r.begun = at, r.play.Clock.Now()
	}
	wait := at.Sub(r.first) - r.play.Clock.Now().Sub(r.begun)
	if wait <= 0 {
		return nil
	}
	return r.play.Clock.Sleep(ctx, wait)
}

// gap tells that nobody listened for a time. Whether the port was away or was
// closed to restart the board, a capture does not say, so no loss is told of.
func (r *replay) gap(ctx context.Context, g parsers.Gap) error {
	if r.attachment == 0 {
		if err := r.attach(g.From); err != nil {
			return err
		}
	}
	if err := r.pause(ctx, g.To); err != nil {
		return err
	}
	r.at = g.To
	return r.mark(Mark{Kind: MarkGap, At: g.To, Away: max(g.To.Sub(g.From), 0)})
}

func (r *replay) attach(at time.Time) error {
	r.attachment++
	return r.mark(Mark{Kind: MarkAttached, At: at})
}

func (r *replay) mark(m Mark) error {
	m.Name, m.Offset, m.Attachment = r.play.Name, r.offset, r.attachment
	return r.play.Sink.Mark(m)
}
