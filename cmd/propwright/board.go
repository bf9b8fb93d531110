package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

const boardLong = `board makes a virtual reader board to practise on: a serial port to attach to, and
a control channel over which tags, cables and supplies are moved, a JSON object a
line, such as {"op":"place","role":"master"} and {"op":"take"}. It runs until it is
interrupted.

--controller says where the board's network finds the controller that it was built
for: the address that commission --listen has.`

type boardOptions struct {
	alias      string
	fault      string
	style      string
	seed       uint64
	pace       float64
	controller string
	image      string
	enrolled   []string
	build      virtual.Build
	readers    int
	listFaults bool
}

func newBoardCmd(d deps) *cobra.Command {
	o := boardOptions{build: virtual.DefaultBuild()}
	cmd := &cobra.Command{
		Use:   "board",
		Short: "A virtual board to practise on",
		Long:  boardLong,
		Example: `  propwright board --controller 127.0.0.1:1502
  propwright board --fault loose-joint --alias reader-port`,
		Args: checkArgs(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			if o.listFaults {
				return listFaults(d)
			}
			return runBoard(c.Context(), d, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.alias, "alias", "", "path of a link to the port that stays when the port's own name changes")
	f.StringVar(&o.fault, "fault", "", "what is wrong with the board")
	f.StringVar(&o.style, "style", virtual.StylePlain, "how the board prints: plain or convention")
	f.Uint64Var(&o.seed, "seed", 1, "of everything that is left to chance")
	f.Float64Var(&o.pace, "pace", 1, "how many times as fast as the real clock")
	f.StringVar(&o.controller, "controller", "", "HOST:PORT where the board finds its controller; without it nobody answers there")
	f.StringVar(&o.image, "image", "", "file that keeps what the board's memory holds (default: forgotten at the end)")
	f.StringSliceVar(&o.enrolled, "enrolled", nil, "tags by role that a fresh memory holds already, the master first, such as master,show")
	f.IntVar(&o.build.Coil, "coil", o.build.Coil, "coil that the firmware was built with")
	f.IntVar(&o.readers, "readers", 1, "how many readers it has; each further one has the next coil")
	f.StringVar(&o.build.Lists, "lists", "board", "where it keeps master and cards: board, or each reader")
	f.StringVar(&o.build.MAC, "mac", o.build.MAC, "MAC address that it was built with")
	f.StringVar(&o.build.IP, "ip", o.build.IP, "IP address that it was built with")
	f.BoolVar(&o.listFaults, "list-faults", false, "list the faults and what they are")
	return cmd
}

func listFaults(d deps) error {
	for _, f := range virtual.Faults() {
		if _, err := fmt.Fprintf(d.out, "%s %s\n", f.Name, f.What); err != nil {
			return err
		}
	}
	return nil
}

func runBoard(ctx context.Context, d deps, o boardOptions) (err error) {
	clk := clock.Real()
	if o.pace != 1 {
		clk = clock.Paced(time.Now(), o.pace)
	}
	o.build.More = nextCoils(o.build.Coil, readersFor(o.fault, o.readers))
	board, err := virtual.New(virtual.Config{
		Clock: clk, Seed: o.seed, Fault: o.fault, Style: o.style, Image: o.image, Enrolled: o.enrolled, Build: o.build, Controller: o.controller,
	})
	if err != nil {
		return hintedError{usageError{err}, "propwright board --list-faults"}
	}
	defer func() { err = errors.Join(err, board.Close()) }()
	line, err := virtual.NewPtyLine(o.alias)
	if errors.Is(err, errors.ErrUnsupported) {
		return toolError{what: "board", err: errors.New("this system has no pseudo-terminals"), try: "propwright demo, which needs none"}
	}
	if err == nil {
		err = board.Connect(line)
	}
	if err != nil {
		return toolError{what: "board", err: err, try: "another --alias"}
	}
	l, remove, err := listenControl()
	if err != nil {
		return err
	}
	defer remove()
	port := line.Path()
	if o.alias != "" {
		port = o.alias
	}
	fmt.Fprintf(d.out, "port: %s\ncontrol: %s\n", port, l.Addr())
	return virtual.ServeControl(ctx, l, board)
}

// readersFor is how many readers a board has that is to show a fault: some need
// more than one.
func readersFor(fault string, readers int) int { return max(readers, virtual.LeastReaders(fault)) }

// nextCoils are the coils of the readers after the first.
func nextCoils(first, readers int) []int {
	var more []int
	for i := 1; i < readers; i++ {
		more = append(more, first+i)
	}
	return more
}

// listenControl opens a socket for a control channel in a folder of its own, which
// remove takes away. The name of a socket may not be long, so the folder's is short.
func listenControl() (l net.Listener, remove func(), err error) {
	dir, err := os.MkdirTemp("", "pw")
	if err != nil {
		return nil, nil, toolError{what: "control channel", err: err}
	}
	remove = func() { os.RemoveAll(dir) }
	l, err = net.Listen("unix", filepath.Join(dir, "control"))
	if err != nil {
		remove()
		return nil, nil, toolError{what: "control channel", err: err}
	}
	return l, remove, nil
}
