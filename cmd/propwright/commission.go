package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist"
	"propwright/parsers"
	"propwright/serialmon"
)

const commissionLong = `commission walks you through the checklist for a prop: at the bench, and later
once more in the room. Instructions (=>), questions (??) and cautions (!!) go to
the terminal; a line a decided step goes to stdout, and at the end the folder of
the signed report.

While a step waits you may say: note TEXT, skip REASON, again, reflash, abort REASON.
reflash lets the port go, so that the board can get new firmware, takes it back, and
runs again what rested on the settings, and on master and cards if they were lost.
Three sounds tell good, bad and wanted. In range and repeat steps the spare card,
shown instead of the tag, takes the last presentation back: it did not count.
Enter alone repeats what is wanted.
After a step that failed, you may look for its cause at once, as with diagnose; the step
then runs again as the proof of the repair, and the report tells the story.
Ctrl-C stops at once; --resume goes on where the run stopped.`

type commissionOptions struct {
	prop      string
	procedure string
	sitting   string
	port      string
	speed     string
	noReset   bool
	wording   string
	listen    string
	site      string
	answers   string
	changed   string
	resume    bool
	pace      float64
	hands     string
	signer    string
	role      string
	board     string
	key       string
	far       bool
	mute      bool
}

func newCommissionCmd(d deps) *cobra.Command {
	var o commissionOptions
	cmd := &cobra.Command{
		Use:   "commission PROP",
		Short: "Walk a prop's board through the checklist and sign it off",
		Long:  commissionLong,
		Example: `  propwright commission harbour-bell --port /dev/ttyUSB0 --listen 10.77.0.10:502
  propwright commission harbour-bell --sitting site --port /dev/ttyUSB0 --listen 10.77.0.10:502
  propwright commission harbour-bell --resume --port /dev/ttyUSB0 --listen 10.77.0.10:502`,
		Args: checkArgs(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			o.prop = args[0]
			return runCommission(c.Context(), d, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.procedure, "procedure", "", "which procedure: new, recheck, swap, or one of the site's own (default: the one that the prop is due for)")
	f.StringVar(&o.board, "board", "", "with swap: the spare that goes in (default: the site's only one)")
	f.StringVar(&o.sitting, "sitting", "", "bench or site (default: the one that is due)")
	addBoardFlags(cmd, &o)
	addSiteFlag(cmd, &o.site)
	f.StringVar(&o.changed, "changed", "", "what changed since, such as soldering,cover: repeats what rested on it")
	f.BoolVar(&o.resume, "resume", false, "go on with the prop's last run")
	f.StringVar(&o.hands, "hands", "", "control channel of a virtual board whose tags are to be moved by virtual hands")
	f.Float64Var(&o.pace, "pace", 1, "with a virtual board: how many times as fast as the real clock")
	addPersonFlags(cmd, &o)
	return cmd
}

// addBoardFlags are the flags that say how a board is reached.
func addBoardFlags(cmd *cobra.Command, o *commissionOptions) {
	f := cmd.Flags()
	f.StringVar(&o.port, "port", "", "serial port of the board; without it only what needs none is done")
	f.StringVar(&o.speed, "speed", "", "speed in baud (default: as the board is planned)")
	f.BoolVar(&o.noReset, "no-reset", false, "do not restart the board by opening its port, where the system allows")
	f.StringVar(&o.wording, "wording", "", "wording of the firmware (default: the site's, else all built-in ones)")
	f.StringVar(&o.listen, "listen", "", "ADDR:PORT on which to stand in for the controller")
}

// addPersonFlags are the flags that say who is there and how they are spoken to.
func addPersonFlags(cmd *cobra.Command, o *commissionOptions) {
	f := cmd.Flags()
	f.StringVar(&o.answers, "answers", "", "file that answers the questions")
	f.BoolVar(&o.far, "far", false, "print one word and one figure in large text, to be read from across the room")
	f.BoolVar(&o.mute, "mute", false, "no sounds")
	f.StringVar(&o.signer, "signer", "", "name of who signs (default: the user's)")
	f.StringVar(&o.role, "role", "", "role of who signs")
	f.StringVar(&o.key, "key", "", "file with the signer's own key, Ed25519 in OpenSSH's format (default: the site's key)")
}

func runCommission(ctx context.Context, d deps, o commissionOptions) error {
	changed, err := readChanged(o.changed)
	if err != nil {
		return err
	}
	st, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer st.Close()
	item, err := itemFor(ctx, st, o)
	if err != nil {
		return err
	}
	signing, err := signingOf(st.Folder, d, o.signer, o.role, o.key)
	if err != nil {
		return err
	}
	folder, sitting, err := chooseRun(st, o, changed, item.Board.Asset)
	if err != nil {
		return err
	}
	c, err := casting(ctx, st, d, o, item, folder)
	if err != nil {
		return errors.Join(err, folder.journal.Close())
	}
	c.changed = changed
	if since, lain := folder.lainSince(c.clock.Now()); lain && len(changed) == 0 && c.commands != nil {
		if sitting, err = askChanged(ctx, folder, o, &c, since); err != nil {
			return finish(d, folder, o, checklist.NotConfirmed, errors.Join(err, folder.journal.Close()))
		}
	}
	before, err := folder.before()
	if err != nil {
		return errors.Join(toolSide(folder.dir, err), folder.journal.Close())
	}
	if folder.proposed != "" {
		fmt.Fprintln(d.err, folder.proposed)
	}
	fmt.Fprintf(d.err, "report %d, %s sitting%s\n", folder.number, sitting, beforeIt(before))
	if err := sayStanding(ctx, d, st, o.prop); err != nil {
		return errors.Join(err, folder.journal.Close())
	}
	sayAgain(d.err, folder.known(), folder.procedure)
	run, err := newConduct(ctx, folder, c)
	if err != nil {
		return toolSide(folder.dir, err)
	}
	findCauses(d, o, st.Dir, run, c)
	verdict, err := run.sit(ctx, sitting, signing)
	if err == nil {
		err = swapInPlan(ctx, d, st, run, verdict)
	}
	return finish(d, folder, o, verdict, errors.Join(err, run.Close()))
}

// askChanged has the person at the terminal say what changed while the run lay, and
// says with which sitting it goes on then.
func askChanged(ctx context.Context, folder *runFolder, o commissionOptions, c *cast, since time.Time) (checklist.Sitting, error) {
	changed, answer, err := whatChanged(ctx, c.person, c.commands, since)
	if err != nil {
		return "", err
	}
	c.changed, c.said = changed, &answer
	return takeUp(folder, checklist.Sitting(o.sitting), o, changed)
}

// sayAgain says which steps that were decided are open again, and why.
func sayAgain(w io.Writer, entries []checklist.Entry, p checklist.Procedure) {
	spoilt := checklist.Spoilt(entries, p)
	for _, s := range p.Steps {
		if changed := spoilt[s.Place()]; len(changed) > 0 {
			fmt.Fprintf(w, "again: %s, %s: changed since it was decided: %s\n", s.Sitting, parsers.Printable(s.Title), strings.Join(changed, ", "))
		}
	}
}

// finish says how a run ended.
func finish(d deps, folder *runFolder, o commissionOptions, verdict checklist.Verdict, err error) error {
	goesOn := "propwright commission " + o.prop + " --resume goes on where it stopped"
	switch {
	case err == nil:
	case errors.Is(err, checklist.ErrPersonGone):
		return hintedError{interruptedError{err}, goesOn}
	case errors.Is(err, checklist.ErrNoAnswer):
		return hintedError{toolError{what: "report " + folder.dir, err: err}, "an answer for that step in --answers FILE, or a terminal to answer at; then --resume"}
	case errors.Is(err, checklist.ErrOtherBoard):
		return toolError{what: "resume", err: err, try: "the board that the run began with, or a new run without --resume"}
	default:
		return hintedError{toolSide(folder.dir, err), goesOn}
	}
	if verdict == checklist.Failed {
		fmt.Fprintf(d.err, "what may be behind it, from all that was heard: propwright diagnose %s%s\n", o.prop, siteFlagFor(d, o.site))
	}
	fmt.Fprintf(d.out, "report: %s\n", folder.dir)
	if verdict != checklist.Passed {
		return errVerdict
	}
	return nil
}

// toolSide is an error of the tool's own side about a run, with what to try where
// the cause says so.
func toolSide(dir string, err error) error {
	if oe, ok := errors.AsType[*serialmon.OpenError](err); ok {
		return toolError{err: oe, try: oe.Hint}
	}
	return toolError{what: "run " + dir, err: err}
}

// readChanged reads the list of what changed.
func readChanged(list string) ([]string, error) {
	if list == "" {
		return nil, nil
	}
	changed := strings.Split(list, ",")
	for _, c := range changed {
		if !slices.Contains(checklist.ChangeNames(), c) {
			return nil, usageError{fmt.Errorf("changed %q: not known, there are: %s", c, strings.Join(checklist.ChangeNames(), ", "))}
		}
	}
	return changed, nil
}
