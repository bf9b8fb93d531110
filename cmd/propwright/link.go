package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist/link"
	"propwright/serialmon/clock"
)

// watchSilence is after how long without a byte the stand-in takes a connection for
// dead (from experience, no source).
const watchSilence = 30 * time.Minute

// How long a tap may stay in a line.
const (
	tapFor     = 15 * time.Minute // unless told
	tapLongest = 24 * time.Hour
)

const linkWatchLong = `watch stands in for the controller and shows, live, what a board does with it: each
connection, each request with its answer, what is wrong with it, and each end. It
listens only where it is told to.`

const linkTapLong = `tap stands in the line before a real controller: it passes every byte on unchanged,
both ways, and shows what passes. It is in the way: while it is there, the prop is dead
as soon as this program or computer is. So it has a time limit (15 minutes unless told),
and when it ends it says what is to be put back.

Before a controller that is not this computer, --prop says which prop it is for: the
plan has to say what its coil drives. For a door or a motion somebody has to say that
the room is empty and watched, with --room-clear yes.`

const linkLong = `link looks at one prop's link alone and names what is wrong with it, with the evidence
and what to try.

Without --listen it only asks: who has the board's address (an ARP probe as RFC 5227
describes it, where this system allows one), whether the controller's port is open, and
what it answers to the reading of the prop's coil. Nothing is written.

With --listen it stands in for the controller (or, with --to, in the line before it) while
you show the prop's own tag a few times, and with --port it reads the board's console
beside. What both sides tell is put on one time line.`

func newLinkCmd(d deps) *cobra.Command {
	o := linkPropOptions{}
	o.during = time.Minute
	cmd := &cobra.Command{
		Use:   "link (PROP | watch | tap)",
		Short: "The network link between a board and its controller",
		Long:  linkLong,
		Example: `  propwright link harbour-bell
  propwright link harbour-bell --listen 10.77.0.10:502 --port /dev/ttyUSB0 --for 2m --json`,
		Args: checkArgs(cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return groupRun(c, args)
			}
			o.prop = args[0]
			if err := o.check(); err != nil {
				return err
			}
			return runLinkProp(c.Context(), d, o)
		},
	}
	o.flags(cmd)
	cmd.AddCommand(newLinkWatchCmd(d), newLinkTapCmd(d))
	return cmd
}

// A linkOptions says where to listen and what to show.
type linkOptions struct {
	listen    string
	to        string
	base      int
	during    time.Duration
	asJSON    bool
	prop      string
	site      string
	roomClear string
}

func (o *linkOptions) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.listen, "listen", "", "ADDR:PORT to listen on; needed")
	f.IntVar(&o.base, "base", 1, "number of the first coil: 0 or 1")
	f.DurationVar(&o.during, "for", o.during, "how long, such as 90s or 10m (0: until interrupted)")
	f.BoolVar(&o.asJSON, "json", false, "print JSON Lines")
}

// check refuses what can be seen to be wrong before anything is opened.
func (o linkOptions) check(command string) error {
	switch {
	case o.listen == "":
		return usageError{fmt.Errorf("%s: --listen is missing: ADDR:PORT, such as 127.0.0.1:1502", command)}
	case o.base != 0 && o.base != 1:
		return usageError{fmt.Errorf("%s: --base %d: must be 0 or 1", command, o.base)}
	case o.during < 0:
		return usageError{fmt.Errorf("%s: --for %v: must be 0 or more", command, o.during)}
	}
	return checkHostPort(command+": --listen", o.listen, 0)
}

// checkHostPort wants HOST:PORT with a port from least on.
func checkHostPort(what, text string, least uint64) error {
	_, port, err := net.SplitHostPort(text)
	if err != nil {
		return usageError{fmt.Errorf("%s %q: want ADDR:PORT, such as 127.0.0.1:1502", what, text)}
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n < least {
		return usageError{fmt.Errorf("%s %q: port %q must be a number from %d to 65535", what, text, port, least)}
	}
	return nil
}

func newLinkWatchCmd(d deps) *cobra.Command {
	var o linkOptions
	cmd := &cobra.Command{
		Use:   "watch --listen ADDR:PORT",
		Short: "Stand in for the controller and show what a board does, live",
		Long:  linkWatchLong,
		Example: `  propwright link watch --listen 127.0.0.1:1502
  propwright link watch --listen 10.77.0.10:502 --for 10m --json`,
		Args: checkArgs(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			if err := o.check("watch"); err != nil {
				return err
			}
			return runLinkWatch(c.Context(), d, o)
		},
	}
	o.flags(cmd)
	return cmd
}

// A passage is what watch and tap have in common once they listen.
type passage interface {
	Addr() string
	Refused() uint64
	Close() error
}

func runLinkWatch(ctx context.Context, d deps, o linkOptions) error {
	p := printFrames(d.out, o.asJSON)
	standIn, err := link.Listen(ctx, o.config(p))
	if err != nil {
		p.close()
		return listenSide(err)
	}
	fmt.Fprintf(d.err, "standing in for a controller at %s, coils from %d%s\n", standIn.Addr(), o.base, until(d.now(), o.during))
	return pass(ctx, d, o, standIn, p)
}

// config is a tap's configuration. A board may be silent for long between two tags; a
// tap in the line cuts nobody off before its own end.
func (o linkOptions) config(p *framePrinter) link.Config {
	silence := watchSilence
	if o.to != "" {
		silence = o.during
	}
	return link.Config{Addr: o.listen, Base: o.base, Clock: clock.Real(), Record: p.print, MaxSilence: silence}
}

// until says when a time that begins now is over.
func until(now time.Time, during time.Duration) string {
	if during == 0 {
		return ", until interrupted"
	}
	return ", until " + now.Add(during).Format(time.TimeOnly)
}

// pass lets frames pass until the time is over, ctx ends or nobody reads them.
func pass(ctx context.Context, d deps, o linkOptions, at passage, p *framePrinter) error {
	var over <-chan time.Time
	if o.during > 0 {
		timer := time.NewTimer(o.during)
		defer timer.Stop()
		over = timer.C
	}
	var err error
	select {
	case <-over:
	case <-p.gone:
	case <-ctx.Done():
		err = context.Cause(ctx)
	}
	err = errors.Join(err, at.Close())
	p.close()
	if n := p.missed.Load(); n > 0 {
		fmt.Fprintf(d.err, "%d frames passed and are not shown: whoever reads the output is too slow\n", n)
	}
	if n := at.Refused(); n > 0 {
		fmt.Fprintf(d.err, "%d connections were turned away: no more than %d at one time are taken\n", n, link.MostConns)
	}
	if text := addressReminder(at.Addr()); text != "" {
		fmt.Fprintln(d.err, text)
	}
	return err
}

// listenSide is an error of listening, with what to try.
func listenSide(err error) error {
	if le, ok := errors.AsType[*link.ListenError](err); ok {
		return toolError{err: le, try: le.Hint}
	}
	return toolError{what: "stand-in controller", err: err}
}

func newLinkTapCmd(d deps) *cobra.Command {
	o := linkOptions{during: tapFor}
	cmd := &cobra.Command{
		Use:   "tap --listen ADDR:PORT --to HOST:PORT",
		Short: "Pass a board's frames on to a real controller and show them, live",
		Long:  linkTapLong,
		Example: `  propwright link tap --listen 10.77.0.200:502 --to 10.77.0.10:502 --prop harbour-bell
  propwright link tap --listen 127.0.0.1:1502 --to 127.0.0.1:1503 --for 2m --json`,
		Args: checkArgs(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			if err := o.checkTap(); err != nil {
				return err
			}
			return runLinkTap(c.Context(), d, o)
		},
	}
	o.flags(cmd)
	f := cmd.Flags()
	f.StringVar(&o.to, "to", "", "HOST:PORT of the real controller; needed")
	f.StringVar(&o.prop, "prop", "", "the prop whose line it is")
	f.StringVar(&o.roomClear, "room-clear", "", "yes: the room is empty and watched")
	addSiteFlag(cmd, &o.site)
	return cmd
}

func (o linkOptions) checkTap() error {
	if err := o.check("tap"); err != nil {
		return err
	}
	switch {
	case o.to == "":
		return usageError{errors.New("tap: --to is missing: HOST:PORT of the real controller")}
	case o.during == 0 || o.during > tapLongest:
		return usageError{fmt.Errorf("tap: --for %v: a tap is in the way and needs an end, within %v", o.during, tapLongest)}
	case o.roomClear != "" && o.roomClear != "yes":
		return usageError{fmt.Errorf("tap: --room-clear %q: only yes lets a door or a motion be driven", o.roomClear)}
	}
	return checkHostPort("tap: --to", o.to, 1)
}

func runLinkTap(ctx context.Context, d deps, o linkOptions) error {
	if err := o.mayTap(ctx, d); err != nil {
		return err
	}
	p := printFrames(d.out, o.asJSON)
	tap, err := link.ListenTap(ctx, o.config(p), o.to)
	if err != nil {
		p.close()
		return listenSide(err)
	}
	fmt.Fprintf(d.err, "!! A tap stands in the line: what reaches %s goes on to %s and back%s.\n!! While it is there, the prop is dead as soon as this program or computer is. Take it out before anybody plays.\n",
		tap.Addr(), o.to, until(d.now(), o.during))
	err = pass(ctx, d, o, tap, p)
	fmt.Fprintf(d.err, "!! The tap has ended: nothing passes at %s any more. Put the line back as it was, then see the prop's own tag switch its coil once more.\n", tap.Addr())
	return err
}

// mayTap refuses a line that something in a room hangs on, unless the plan says what
// and nobody can be hurt.
func (o linkOptions) mayTap(ctx context.Context, d deps) error {
	if o.prop == "" {
		if isLoopback(o.to) {
			return nil
		}
		return hintedError{usageError{fmt.Errorf("tap: --to %q is not this computer: --prop is missing, for the plan has to say what its coil drives", o.to)}, "propwright link tap --prop PROP --site DIR, and the same again"}
	}
	st, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer st.Close()
	item, err := itemOf(ctx, st, o.prop)
	if err != nil {
		return err
	}
	return mayDrive("tap", item, o.roomClear)
}

// isLoopback reports whether an address is this computer's own.
func isLoopback(hostPort string) bool {
	host, _, err := net.SplitHostPort(hostPort)
	if err != nil {
		return false
	}
	ip, err := netip.ParseAddr(host)
	return strings.EqualFold(host, "localhost") || err == nil && ip.IsLoopback()
}
