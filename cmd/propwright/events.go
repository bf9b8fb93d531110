package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
)

const eventsLong = `events turns what a board prints into events, one a line: from a file, from
standard input (-), or live from a port. Text that no wording knows is kept as
"unknown"; nothing is left out.

A capture folder's console.raw is read with the arrival times beside it. --follow goes
on at its end as the file grows. --kind, --uid, --since and --until choose what is
shown; where a time is asked for, events without one are not. --summary shows what it
all comes to instead: starts and whether they are a loop, silences, kinds, and what no
wording knows.`

type eventsOptions struct {
	file    string
	port    string
	speed   string
	noReset bool
	wording string
	asJSON  bool
	capture string
	site    string
	follow  bool
	summary bool
	kinds   []string
	uid     string
	since   string
	until   string
}

func newEventsCmd(d deps) *cobra.Command {
	var o eventsOptions
	cmd := &cobra.Command{
		Use:   "events (FILE | - | --port PORT)",
		Short: "Turn board text into events, recorded or live",
		Long:  eventsLong,
		Example: `  propwright events evening.log
  propwright events --port /dev/ttyUSB0 --json --capture evening
  propwright events evening --follow --kind card-added,card-removed`,
		Args: checkArgs(cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.file = args[0]
			}
			if (o.file == "") == (o.port == "") {
				return usageError{errors.New("events: give a file, - or --port PORT, and only one of them")}
			}
			if o.follow && (o.file == "" || o.file == "-") {
				return usageError{errors.New("events: --follow is for a file")}
			}
			if o.summary && (o.file == "" || o.follow || o.asJSON) {
				return usageError{errors.New("events: --summary is for recorded text, and for people")}
			}
			return runEvents(c.Context(), d, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.port, "port", "", "serial port to listen to")
	f.StringVar(&o.speed, "speed", "115200", "speed in baud, or auto")
	f.BoolVar(&o.noReset, "no-reset", false, "do not restart the board by opening its port, where the system allows")
	f.StringVar(&o.wording, "wording", "", "wording of the firmware: a built-in name or a file (default: all built-in ones)")
	f.BoolVar(&o.asJSON, "json", false, "print JSON Lines")
	addSiteFlag(cmd, &o.site)
	f.BoolVar(&o.follow, "follow", false, "go on at the end of the file as it grows, until interrupted")
	f.BoolVar(&o.summary, "summary", false, "show what the text comes to as a whole")
	f.StringSliceVar(&o.kinds, "kind", nil, "kinds of event to show, such as card-added,unknown")
	f.StringVar(&o.uid, "uid", "", "show only events of this tag, in any common print")
	f.StringVar(&o.since, "since", "", "show only events from this time on, as 2026-11-25T21:30:00Z")
	f.StringVar(&o.until, "until", "", "show only events before this time")
	f.StringVar(&o.capture, "capture", "", "folder to keep the bytes and their arrival times in")
	return cmd
}

func runEvents(ctx context.Context, d deps, o eventsOptions) error {
	profiles, err := chooseWording(o.wording, chosenSite(d, o.site))
	if err != nil {
		return err
	}
	filter, err := newEventFilter(o.kinds, o.uid, o.since, o.until)
	if err != nil {
		return err
	}
	stream, direct := parsers.NewStream(profiles...), eventPrinter{out: d.out, asJSON: o.asJSON, filter: filter}
	switch {
	case o.port != "":
		return listen(ctx, d, o, stream, &direct)
	case o.summary:
		return readEvents(ctx, d, o, stream, summarizeBeside(d.out, filter))
	case o.follow:
		return readEvents(ctx, d, o, stream, &direct)
	}
	return readEvents(ctx, d, o, stream, printBeside(d.out, direct)) // all is there: no line has to be out at once
}

// chooseWording loads a wording by the name of a built-in one, of one of the
// site's, or of a file; "" and "auto" load all built-in ones.
func chooseWording(name, site string) ([]*parsers.Profile, error) {
	if name == "" || name == "auto" {
		return parsers.Auto()
	}
	if slices.Contains(parsers.Builtin(), name) {
		p, err := parsers.BuiltinProfile(name)
		return []*parsers.Profile{p}, err
	}
	file := name
	if !strings.ContainsAny(name, `./\`) {
		file = wordingFile(site, name)
	}
	p, err := loadWording(file)
	if err != nil {
		return nil, toolError{err: err, try: "propwright wording list; propwright wording check FILE says what is wrong with one"}
	}
	return []*parsers.Profile{p}, nil
}

// readEvents reads recorded text to its end.
func readEvents(ctx context.Context, d deps, o eventsOptions, stream *parsers.Stream, p printing) error {
	defer p.close()
	in, arrivals, err := openRecorded(d, o.file)
	if err != nil {
		return toolError{what: fmt.Sprintf("read %q", o.file), err: withoutPath(err), try: "the path of a capture, or - for standard input"}
	}
	defer in.Close()
	var times io.Reader
	if arrivals != nil {
		defer arrivals.Close()
		times = arrivals
	}
	err = parsers.ReadCapture(in, times, func(piece parsers.Piece) error {
		if err := context.Cause(ctx); err != nil {
			return err
		}
		if piece.Gap != nil {
			stream.Mark(parsers.KindGap, piece.Gap.From, gapFields(piece.Gap), p.print)
			return p.failed()
		}
		p.feed(stream, piece.Bytes, piece.At)
		return p.failed()
	})
	if err == nil && o.follow {
		err = follow(ctx, d, in, stream, p)
	}
	stream.Flush(p.print)
	if err = errors.Join(err, p.close()); err == nil {
		return nil
	}
	switch {
	case errors.Is(err, errPipeClosed):
		return nil
	case ctx.Err() != nil:
		return context.Cause(ctx)
	}
	return toolError{what: fmt.Sprintf("read %q", o.file), err: err, try: "the events above are whole; a capture is read without its times when arrivals.csv is put aside"}
}

func gapFields(g *parsers.Gap) map[string]string {
	if g.To.IsZero() {
		return nil
	}
	return map[string]string{"seconds": strconv.FormatFloat(g.To.Sub(g.From).Seconds(), 'f', 3, 64)}
}

// openRecorded opens recorded text and, where it is a capture's, its arrivals.
func openRecorded(d deps, name string) (text io.ReadCloser, arrivals io.ReadCloser, err error) {
	if name == "-" {
		return io.NopCloser(d.in), nil, nil
	}
	info, err := os.Stat(name)
	if err != nil {
		return nil, nil, err
	}
	if info.IsDir() {
		name = filepath.Join(name, serialmon.ConsoleFile)
	}
	if text, err = os.Open(name); err != nil {
		return nil, nil, err
	}
	if filepath.Base(name) == serialmon.ConsoleFile {
		f, err := os.Open(filepath.Join(filepath.Dir(name), serialmon.ArrivalsFile))
		if err == nil {
			arrivals = f
		}
	}
	return text, arrivals, nil
}

// listen prints what a live port says until it is interrupted.
func listen(ctx context.Context, d deps, o eventsOptions, stream *parsers.Stream, p *eventPrinter) (err error) {
	speed, auto, err := readSpeed(o.speed, 115200)
	if err != nil {
		return err
	}
	options := serialmon.Options{Name: o.port, Speed: speed, NoReset: o.noReset, Clock: clock.Real()}
	if o.capture != "" {
		if err := os.MkdirAll(o.capture, 0o700); err != nil {
			return toolError{what: fmt.Sprintf("capture folder %q", o.capture), err: withoutPath(err), try: "a folder that can be written"}
		}
		record, err := serialmon.OpenRecorder(o.capture)
		if err != nil {
			return toolError{what: fmt.Sprintf("capture folder %q", o.capture), err: err}
		}
		defer func() { err = errors.Join(err, record.Close()) }()
		options.Record = record
	}
	options.Sink = &serialmon.SpeedWatch{
		Clock: options.Clock,
		Sink: newConsole(options.Clock, stream, func(e checklist.Entry) (checklist.Entry, error) {
			p.print(*e.Event)
			return e, p.err
		}),
		Tell: func(doubt serialmon.SpeedDoubt) {
			fmt.Fprintf(d.err, "speed: %s; --speed auto finds out\n", doubt)
		},
	}
	session, err := serialmon.Attach(ctx, options)
	if err != nil {
		return toolSide(o.capture, err)
	}
	if auto {
		err = chooseSpeed(ctx, d, session)
	}
	if err == nil {
		select {
		case <-ctx.Done():
			err = context.Cause(ctx)
		case <-session.Done():
		}
	}
	closeErr := session.Close()
	if errors.Is(p.err, errPipeClosed) {
		return nil
	}
	return errors.Join(err, closeErr)
}

// chooseSpeed finds the board's speed and sets it.
func chooseSpeed(ctx context.Context, d deps, session *serialmon.Session) error {
	guess, err := session.LikelySpeed(ctx)
	if err != nil {
		return err
	}
	if guess.Baud == 0 {
		return toolError{what: "speed auto", err: errors.New(guess.Why), try: "--speed with the speed that the firmware was built with"}
	}
	fmt.Fprintf(d.err, "speed: %d baud (%s)\n", guess.Baud, guess.Why)
	return session.SetSpeed(ctx, guess.Baud)
}

// readSpeed reads a --speed; "" is the planned one.
func readSpeed(text string, planned int) (speed int, auto bool, err error) {
	switch text {
	case "":
		return planned, false, nil
	case "auto":
		return planned, true, nil
	}
	speed, err = strconv.Atoi(text)
	if err != nil {
		return 0, false, usageError{fmt.Errorf("speed %q: want a number in baud, or auto", text)}
	}
	return speed, false, nil
}

// errPipeClosed says that nobody reads our output any more.
var errPipeClosed = errors.New("output closed")

// An eventPrinter writes events, a line each. After an error it writes no more.
type eventPrinter struct {
	out     io.Writer
	asJSON  bool
	encoder *parsers.EventEncoder // nil to write JSON without one
	filter  eventFilter
	err     error
	line    []byte // to write the next into
}

func (p *eventPrinter) print(e parsers.Event) {
	if p.err != nil {
		return
	}
	if p.line, p.err = p.append(p.line[:0], &e); p.err != nil || len(p.line) == 0 {
		return
	}
	if _, err := p.out.Write(p.line); err != nil {
		p.err = errors.Join(errPipeClosed, err)
	}
}

func (p *eventPrinter) feed(stream *parsers.Stream, text []byte, at time.Time) {
	stream.Feed(text, at, p.print)
}

// append appends an event's line, nothing for one that is not shown.
func (p *eventPrinter) append(b []byte, e *parsers.Event) (_ []byte, err error) {
	switch {
	case !p.filter.shows(e):
		return b, nil
	case p.asJSON && p.encoder != nil:
		b, err = p.encoder.Append(b, e)
	case p.asJSON:
		b, err = e.AppendJSON(b)
	default:
		b = append(b, eventLine(*e)...)
	}
	return append(b, '\n'), err
}

// failed is why no more is written, nil while it is.
func (p *eventPrinter) failed() error { return p.err }

// close is failed: everything is written by now.
func (p *eventPrinter) close() error { return p.err }

// printing takes events, and console text to read them from; close waits until they are
// written.
type printing interface {
	feed(stream *parsers.Stream, text []byte, at time.Time)
	print(parsers.Event)
	failed() error
	close() error
}

// eventLine is an event for people: when, what, the fields, and the text where the
// fields do not say it all.
func eventLine(e parsers.Event) string {
	var b strings.Builder
	if !e.First.IsZero() {
		b.WriteString(e.First.Format(time.TimeOnly+".000") + "  ")
	}
	fmt.Fprintf(&b, "%-16s", e.Kind)
	if e.Reader != parsers.NoReader {
		fmt.Fprintf(&b, " reader=%d", e.Reader)
	}
	fields := e.Fields()
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		fmt.Fprintf(&b, " %s=%s", name, parsers.Printable(fields[name]))
	}
	if e.Kind == parsers.KindUnknown || e.Kind == parsers.KindNoise {
		b.WriteString(" " + parsers.Printable(string(e.Raw)))
	}
	return strings.TrimRight(b.String(), " ")
}
