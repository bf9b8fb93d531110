package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/checklist/report"
	"propwright/parsers"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

const demoLong = `demo commissions a virtual board unattended, at the bench and then in the room: a
real serial device path, a stand-in controller, virtual hands that follow the
instructions, and a signed report. Time is simulated, so it takes seconds. With
--fault the board has that fault; propwright board --list-faults names them. With
--procedure recheck the board is in service already and holds master and cards, and
with swap it is a spare that takes the place of another.`

type demoOptions struct {
	dir       string
	procedure string
	fault     string
	style     string
	seed      uint64
	readers   int
	lists     string
	coil      string // what the coil does, in the plan's words: behaviour, and at_boot=… and so on
	built     string // what it does at the board, where that is something else
}

func newDemoCmd(d deps) *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:     "demo",
		Short:   "Commission a virtual board unattended, and write its report",
		Long:    demoLong,
		Example: "  propwright demo\n  propwright demo --fault loose-joint",
		Args:    checkArgs(cobra.NoArgs),
		RunE:    func(c *cobra.Command, _ []string) error { return runDemo(c.Context(), d, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.dir, "dir", "", "folder to make the demo's site in (default: a new one among the temporary files)")
	f.StringVar(&o.procedure, "procedure", checklist.ProcedureNew, "which procedure: "+strings.Join(checklist.BuiltinProcedures(), ", "))
	f.StringVar(&o.fault, "fault", "", "what is wrong with the board")
	f.StringVar(&o.style, "style", virtual.StylePlain, "how the board prints: plain or convention")
	f.Uint64Var(&o.seed, "seed", 1, "of everything that is left to chance")
	f.IntVar(&o.readers, "readers", 1, "how many readers the board has, up to 8")
	f.StringVar(&o.lists, "lists", "board", "where it keeps master and cards: board, or each reader")
	f.StringVar(&o.coil, "coil", "follows", "what the coil does: follows, pulse or toggle, and as the plan has it at_boot=, when_dead= and after_reset=")
	return cmd
}

func runDemo(ctx context.Context, d deps, o demoOptions) error {
	if err := checkFaultName(o.fault); err != nil {
		return err
	}
	if err := demoBuild(o).Check(); err != nil {
		return usageError{err}
	}
	if !slices.Contains(checklist.BuiltinProcedures(), o.procedure) {
		return usageError{fmt.Errorf("procedure %q: the demo knows %s", o.procedure, strings.Join(checklist.BuiltinProcedures(), ", "))}
	}
	dir, err := demoDir(o.dir)
	if err != nil {
		return err
	}
	st, err := makeDemoSite(ctx, d, filepath.Join(dir, "site"), report.DemoComment, o)
	if err != nil {
		return err
	}
	defer st.Close()
	return demonstrate(ctx, d, o, st)
}

// checkFaultName refuses a fault that there is not, before anything is made.
func checkFaultName(name string) error {
	if name == "" {
		return nil
	}
	for _, f := range virtual.Faults() {
		if f.Name == name {
			return nil
		}
	}
	return hintedError{usageError{fmt.Errorf("fault %q: not known", name)}, "propwright board --list-faults"}
}

// demoDir is the folder for the demo's site, made where it is not there.
func demoDir(dir string) (string, error) {
	if dir == "" {
		made, err := os.MkdirTemp("", "propwright-demo-")
		if err != nil {
			return "", toolError{what: "demo folder", err: err, try: "--dir with a folder that can be written"}
		}
		return made, nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", toolError{what: fmt.Sprintf("demo folder %q", dir), err: withoutPath(err), try: "--dir with a folder that can be written"}
	}
	return dir, nil
}

// demonstrate runs the procedure's sittings with everything in this one process.
func demonstrate(ctx context.Context, d deps, o demoOptions, st *sitePlan) (err error) {
	as := commissionOptions{prop: demoProp, procedure: cmp.Or(o.procedure, checklist.ProcedureNew)}
	item, err := itemFor(ctx, st, as)
	if err != nil {
		return err
	}
	p, err := loadProcedure(st.Folder, as.procedure)
	if err != nil {
		return err
	}
	folder, err := newRunFolder(st.Reports(), demoProp, p)
	if err != nil {
		return toolError{what: "demo run", err: err}
	}
	wording, err := parsers.Auto()
	if err != nil {
		return errors.Join(err, folder.journal.Close())
	}
	clk := clock.Simulated(d.now().UTC().Truncate(time.Second))
	run, err := newConduct(ctx, folder, cast{
		clock: clk, item: item, virtual: true, wording: wording,
		decided: func(dec checklist.Decision) { printDecision(d.out, d.err, d.outColour(), dec) },
		listen:  &link.Config{Addr: "127.0.0.1:0", Base: item.Controller.Base, Clock: clk, CountFrames: true},
	})
	if err != nil {
		return toolSide(folder.dir, err)
	}
	board, err := demoBoard(ctx, d, o, run)
	if err != nil {
		return errors.Join(err, run.Close())
	}
	verdict, err := demoSittings(ctx, d, st, run)
	if err == nil {
		err = swapInPlan(ctx, d, st, run, verdict)
	}
	return finish(d, folder, as, verdict, errors.Join(err, run.Close(), board()))
}

// demoBoard gives the run a virtual board at the end of a line, its stand-in as
// the controller that the board finds, and hands. end takes them away again.
func demoBoard(ctx context.Context, d deps, o demoOptions, run *conduct) (end func() error, err error) {
	board, err := virtual.New(virtual.Config{
		Clock: run.clock, Seed: o.seed, Fault: o.fault, Style: o.style, Build: demoBuild(o), Enrolled: demoEnrolled(o),
		Controller: run.standIn.Addr(), LockStep: true, CountFrames: true, Silent: run.standIn.Muted,
	})
	if err != nil {
		return nil, usageError{err}
	}
	options, err := connectDemo(d, board)
	if err != nil {
		return nil, errors.Join(err, board.Close())
	}
	options.Speed, options.Notice = run.engine.Item.Board.Speed, board.Noticed
	run.join(portPlan{options: options})
	hands, stopHands, err := demoHands(ctx, board, run.clock, run.folder.procedure)
	if err != nil {
		return nil, errors.Join(err, board.Close())
	}
	hands.pulled = run.board.awaitLost
	run.engine.Person = hands
	return func() error {
		stopHands()
		return board.Close()
	}, nil
}

// demoEnrolled is what the demo's board holds when it comes: nothing, or what a prop
// in service has.
func demoEnrolled(o demoOptions) []string {
	if o.procedure != checklist.ProcedureRecheck {
		return nil
	}
	return append([]string{checklist.RoleMaster}, demoCards...)
}

// demoBuild is how the demo's board was built.
func demoBuild(o demoOptions) virtual.Build {
	b := virtual.DefaultBuild()
	b.Lists = o.lists
	for i, word := range strings.Fields(firstOf(o.built, o.coil)) {
		name, value, _ := strings.Cut(word, "=")
		switch {
		case i == 0:
			b.Behaviour = word
		case name == checklist.PlannedAtBoot:
			b.AtBoot = value
		case name == checklist.PlannedAfterReset:
			b.AfterReset = value
		}
	}
	b.More = nextCoils(demoFirstMore, readersFor(o.fault, o.readers))
	return b
}

// demoSittings holds the procedure's sittings: that in the room only where the one at
// the bench passed.
func demoSittings(ctx context.Context, d deps, st *sitePlan, run *conduct) (checklist.Verdict, error) {
	verdict := checklist.Passed
	for _, s := range []struct {
		sitting      checklist.Sitting
		signer, role string
	}{
		{checklist.Bench, "Demo bench technician", "bench technician"},
		{checklist.Site, "Demo room technician", "room technician"},
	} {
		if !slices.Contains(run.folder.procedure.Sittings(), s.sitting) {
			continue
		}
		signing, err := signingOf(st.Folder, d, s.signer, s.role, "")
		if err != nil {
			return verdict, err
		}
		signing.issued = run.clock.Now
		signing.limitations = []string{"A demonstration: board, tags, hands, eyes and network are virtual, and so are the answers given before power."}
		if verdict, err = run.sit(ctx, s.sitting, signing); err != nil {
			return verdict, err
		}
		if verdict != checklist.Passed && s.sitting == checklist.Bench {
			fmt.Fprintf(d.err, "the bench sitting came out %q, so the sitting in the room is not begun\n", verdict)
			return verdict, nil
		}
	}
	return verdict, nil
}

// demoAnswers is what the demo's technician has to say for himself, by step.
var demoAnswers = map[string]string{
	"wiring":   "answer = \"yes\"\nvalue = 5.02\nunit = \"V\"\n",
	"swapped":  "answer = \"registers no tags since a fall\"\n",
	"sign-off": "answer = \"yes\"\n",
}

// demoAnswersTo is the answers file for a procedure.
func demoAnswersTo(p checklist.Procedure) string {
	var text strings.Builder
	asked := map[string]bool{}
	for _, s := range p.Steps {
		if said := demoAnswers[s.ID]; said != "" && !asked[s.ID] {
			asked[s.ID] = true
			fmt.Fprintf(&text, "[%s]\n%s\n", s.ID, said)
		}
	}
	return text.String()
}
