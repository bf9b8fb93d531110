package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/checklist/reach"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
)

// A conduct is one process's part in a run: everything wired together, from the
// port to the log, for one or more sittings.
type conduct struct {
	folder  *runFolder
	clock   clock.Clock
	log     *checklist.Log
	engine  *checklist.Engine
	board   *portBoard    // nil without a port
	standIn *link.StandIn // nil without one
	record  *serialmon.Recorder
	console *console
	closing []func() error
}

// A cast is who and what takes part.
type cast struct {
	clock    clock.Clock
	item     checklist.Item
	person   checklist.Person
	commands <-chan checklist.Command
	talks    *terminalPerson // who can be talked with about a cause; nil without a terminal
	skip     map[string]string
	decided  func(checklist.Decision)
	reopened func([]checklist.Entry) // told of the log when a re-flash has opened steps again; may be nil
	virtual  bool
	anchor   time.Time // of a paced clock
	port     *portPlan // nil without a port
	wording  []*parsers.Profile
	listen   *link.Config // nil without a stand-in
	ranging  reach.Range  // with the spacers of the bench, and the coils as far as they are known
	changed  []string
	said     *checklist.Answer // what the person said to have changed; nil where nobody was asked
	closing  []func() error    // what the cast brings that has to be let go
}

// A portPlan says how to open a port: Name, Speed, Open, NoReset, Notice.
type portPlan struct {
	options serialmon.Options
	auto    bool // find the speed
}

// newConduct wires a run's folder to its cast. What the console had said before
// the last process ended, and that process had not yet put on record, is put on
// record first.
func newConduct(ctx context.Context, folder *runFolder, c cast) (_ *conduct, err error) {
	if folder.header() == nil {
		folder.procedure = folder.procedure.Of(c.item)
	}
	run := &conduct{folder: folder, clock: c.clock, closing: append(c.closing, folder.journal.Close)}
	defer func() {
		if err != nil {
			err = errors.Join(err, run.Close())
		}
	}()
	if run.record, err = serialmon.OpenRecorder(folder.dir); err != nil {
		return nil, err
	}
	run.closing = append(run.closing, run.record.Close)
	run.log = checklist.NewLog(c.clock, run, folder.entries)
	stream, err := run.catchUp(c.wording)
	if err != nil {
		return nil, err
	}
	if err := run.begin(c); err != nil {
		return nil, err
	}
	run.console = newConsole(c.clock, stream, run.log.Append)
	run.engine = &checklist.Engine{
		Log: run.log, Clock: c.clock, Person: c.person, Procedure: folder.procedure, Item: c.item,
		Commands: c.commands, Skip: c.skip, Decided: c.decided,
	}
	if c.reopened != nil {
		run.engine.Reopened = func() { c.reopened(run.log.Entries(0)) }
	}
	standIn, err := run.listen(ctx, c.listen)
	if err != nil {
		return nil, err
	}
	run.engine.Checks = checksWith(standIn, c.ranging)
	if c.port != nil {
		run.join(*c.port)
	}
	return run, run.engine.Check()
}

// join gives the run its board's port.
func (run *conduct) join(port portPlan) {
	options := port.options
	options.Clock, options.Record, options.Sink = run.clock, run.record, run.console
	run.board = &portBoard{options: options, auto: port.auto}
	run.engine.Board = run.board
	run.closing = append(run.closing, run.board.Detach)
}

// checksWith are all kinds of check.
func checksWith(standIn *link.StandIn, ranging reach.Range) checklist.Checks {
	checks := checklist.BuiltinChecks()
	checks["range"] = ranging
	checks["repeat"] = reach.Repeat{}
	checks["link"] = link.Check{StandIn: standIn}
	checks["link-recovery"] = link.Recovery{StandIn: standIn}
	checks["in-service"] = link.InService{StandIn: standIn}
	checks["coil-at-restart"] = link.AtRestart{StandIn: standIn}
	checks["coil-when-dead"] = link.WhenDead{StandIn: standIn}
	checks["clean-up-site"] = link.CleanUpSite{StandIn: standIn}
	if standIn != nil {
		if text := addressReminder(standIn.Addr()); text != "" {
			for _, name := range []string{"clean-up", "clean-up-site"} {
				checks[name] = reminded{checks[name], text}
			}
		}
	}
	return checks
}

// Keep stores an entry; with it the run is the log's keeper.
func (run *conduct) Keep(e checklist.Entry) error { return run.folder.journal.Keep(e) }

// Sync makes bytes and entries survive a power cut, the bytes first.
func (run *conduct) Sync() error {
	return errors.Join(run.record.Sync(), run.folder.journal.Sync())
}

// Close lets everything go, the last taken first.
func (run *conduct) Close() error {
	var errs []error
	for i := len(run.closing) - 1; i >= 0; i-- {
		errs = append(errs, run.closing[i]())
	}
	run.closing = nil
	return errors.Join(errs...)
}

// listen opens the stand-in controller, which writes its frames to the log.
func (run *conduct) listen(ctx context.Context, c *link.Config) (*link.StandIn, error) {
	if c == nil {
		return nil, nil
	}
	config := *c
	config.Record = func(f checklist.Frame) error {
		_, err := run.log.Append(checklist.Entry{Type: checklist.EntryFrame, Frame: &f})
		return err
	}
	standIn, err := link.Listen(ctx, config)
	if err != nil {
		return nil, err
	}
	run.standIn = standIn
	run.closing = append(run.closing, standIn.Close)
	return standIn, nil
}

// begin puts on record that this process takes up the run.
func (run *conduct) begin(c cast) error {
	p := run.folder.procedure
	header := checklist.RunHeader{
		Number: run.folder.number, Program: programName(), Procedure: p.Name, Digest: p.Digest, Item: c.item,
		Clock: string(c.clock.Basis()), Anchor: c.anchor, Virtual: c.virtual, Computer: runtime.GOOS + "/" + runtime.GOARCH,
	}
	if c.clock.Basis() == clock.BasisPaced {
		header.Pace = c.clock.Pace()
	}
	n := len(run.folder.entries)
	if n == 0 {
		before, err := run.folder.before()
		if err != nil {
			return err
		}
		header.Before = before
	}
	if n > 0 {
		header.Resumed = true
		header.Away = c.clock.Now().Sub(run.folder.entries[n-1].At).Round(time.Millisecond).String()
	}
	if _, err := run.log.Append(checklist.Entry{Type: checklist.EntryRun, Run: &header}); err != nil {
		return err
	}
	if c.said != nil {
		if _, err := run.log.Append(checklist.Entry{Type: checklist.EntryAnswer, Answer: c.said}); err != nil {
			return err
		}
	}
	if len(c.changed) == 0 {
		return nil
	}
	_, err := run.log.Append(checklist.Entry{Type: checklist.EntryExpire, Changed: c.changed})
	return err
}

// catchUp reads the part of the console that is on disk but not in the journal
// and returns the stream that goes on after it.
func (run *conduct) catchUp(wording []*parsers.Profile) (*parsers.Stream, error) {
	offset, seq, line := run.folder.consumed()
	stream := parsers.StreamAt(parsers.Position{Offset: offset, Seq: seq, Line: line}, wording...)
	if run.record.Offset() <= offset {
		return stream, nil
	}
	raw, err := os.Open(filepath.Join(run.folder.dir, serialmon.ConsoleFile))
	if err != nil {
		return nil, err
	}
	defer raw.Close()
	arrivals, err := os.Open(filepath.Join(run.folder.dir, serialmon.ArrivalsFile))
	if err != nil {
		return nil, err
	}
	defer arrivals.Close()
	var failed error
	emit := func(e parsers.Event) {
		if failed == nil {
			_, failed = run.log.Append(checklist.Entry{Type: checklist.EntryEvent, Event: &e})
		}
	}
	err = parsers.ReadCapture(raw, arrivals, func(p parsers.Piece) error {
		if skip := offset - p.Offset; skip < int64(len(p.Bytes)) {
			stream.Feed(p.Bytes[max(skip, 0):], p.At, emit)
		}
		return failed
	})
	// A process that is killed may leave a row of arrivals cut short; the bytes and
	// what they say are whole, so the run goes on.
	if _, broken := errors.AsType[*parsers.CaptureError](err); err != nil && !broken {
		return nil, err
	}
	stream.Flush(emit)
	return stream, failed
}

func programName() string { return fmt.Sprintf("propwright %s", version()) }
