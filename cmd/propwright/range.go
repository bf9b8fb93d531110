package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist"
	"propwright/checklist/reach"
	"propwright/parsers"
)

const rangeLong = `range measures how far one prop's reader reads, and nothing else: the console, the
reader chip and the prop's cards are looked at first, because the figure rests on
them, and what the board stores is not changed. With --sitting bench contact is tried
and the cover laid between; with site the cover is installed and counts as part of
each spacing. The records are kept in the site's folder measured; no report is
written, commission does that.`

type rangeOptions struct {
	commissionOptions
	asJSON bool
}

func newRangeCmd(d deps) *cobra.Command {
	var o rangeOptions
	cmd := &cobra.Command{
		Use:   "range PROP",
		Short: "Measure how far a reader reads, alone",
		Long:  rangeLong,
		Example: `  propwright range harbour-bell --port /dev/ttyUSB0
  propwright range fit trials.csv
  propwright range field coil.toml`,
		Args: checkArgs(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			o.prop = args[0]
			return runRange(c.Context(), d, o)
		},
	}
	f := cmd.Flags()
	addBoardFlags(cmd, &o.commissionOptions)
	addSiteFlag(cmd, &o.site)
	addPersonFlags(cmd, &o.commissionOptions)
	f.StringVar(&o.sitting, "sitting", string(checklist.Bench), "bench, or site where the cover is installed")
	f.StringVar(&o.hands, "hands", "", "control channel of a virtual board whose tags are to be moved by virtual hands")
	f.Float64Var(&o.pace, "pace", 1, "with a virtual board: how many times as fast as the real clock")
	f.BoolVar(&o.asJSON, "json", false, "print JSON")
	cmd.AddCommand(newRangeFitCmd(d), newRangeFieldCmd(d), newRangeMapCmd(d))
	return cmd
}

// A rangeView is what one measurement of a range comes to.
type rangeView struct {
	Prop     string              `json:"prop"`
	Sitting  checklist.Sitting   `json:"sitting"`
	Verdict  checklist.Verdict   `json:"verdict"`
	Virtual  bool                `json:"virtual"`
	Records  string              `json:"records"` // the folder that holds the evidence
	Findings []checklist.Finding `json:"findings"`
}

func runRange(ctx context.Context, d deps, o rangeOptions) error {
	sitting := checklist.Sitting(o.sitting)
	if sitting != checklist.Bench && sitting != checklist.Site {
		return usageError{fmt.Errorf("sitting %q: neither bench nor site", o.sitting)}
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
	if o.port == "" {
		return hintedError{usageError{errors.New("range: needs the board's console, and no port is given")}, "propwright ports, then --port"}
	}
	p, err := rangeProcedure(st, sitting)
	if err != nil {
		return err
	}
	records := filepath.Join(st.Dir, "measured")
	if err := os.MkdirAll(records, 0o700); err != nil {
		return toolError{what: fmt.Sprintf("site %q", st.Dir), err: withoutPath(err), try: "--site with a folder that can be written"}
	}
	folder, err := newRunFolder(records, o.prop, p)
	if err != nil {
		return toolError{what: fmt.Sprintf("site %q", st.Dir), err: err, try: "--site with a folder that can be written"}
	}
	folder.procedure = p
	c, err := casting(ctx, st, d, o.commissionOptions, item, folder)
	if err != nil {
		return errors.Join(err, folder.journal.Close())
	}
	return measureRange(ctx, d, o, sitting, folder, c)
}

// measureRange walks the steps and says what they found.
func measureRange(ctx context.Context, d deps, o rangeOptions, sitting checklist.Sitting, folder *runFolder, c cast) error {
	v := rangeView{Prop: o.prop, Sitting: sitting, Virtual: c.virtual, Records: folder.dir, Findings: []checklist.Finding{}}
	lines := d.out
	if o.asJSON {
		lines = d.err
	}
	c.decided = func(dec checklist.Decision) {
		notes := d.err
		if dec.Step.Check == "range" && !o.asJSON {
			notes = io.Discard // all of it is said at the end
		}
		printDecision(lines, notes, d.outColour() && !o.asJSON, dec)
		if dec.Step.Check == "range" {
			v.Findings = append(v.Findings, dec.Outcome.Findings...)
		}
	}
	run, err := newConduct(ctx, folder, c)
	if err != nil {
		return toolSide(folder.dir, err)
	}
	v.Verdict, err = run.walk(ctx, sitting)
	if errors.Is(err, checklist.ErrAborted) {
		v.Verdict, err = checklist.NotConfirmed, nil
	}
	if err = errors.Join(err, run.log.Sync(), run.Close()); err != nil {
		return hintedError{toolSide(folder.dir, err), "propwright range " + o.prop + " once more"}
	}
	if o.asJSON {
		err = printJSON(d.out, v)
	} else if _, writeErr := io.WriteString(d.out, v.text()); writeErr != nil {
		err = fmt.Errorf("%w: %w", errPipeClosed, writeErr)
	}
	if err == nil && v.Verdict != checklist.Passed {
		err = errVerdict
	}
	return err
}

// text is the findings in full, and where the evidence lies.
func (v rangeView) text() string {
	var b strings.Builder
	for _, f := range v.Findings {
		fmt.Fprintf(&b, "\n%s: %s", f.What, parsers.Printable(f.Value.Text))
		if f.Value.Low != nil && f.Value.High != nil && f.Value.Unit == "mm" {
			fmt.Fprintf(&b, " (%s to %s mm, 95 %%)", tenths(*f.Value.Low), tenths(*f.Value.High))
		}
		fmt.Fprintf(&b, ", %s\n", f.Verdict)
		if f.Note != "" {
			fmt.Fprintf(&b, "  %s\n", parsers.Printable(f.Note))
		}
		if f.Curve != nil {
			fmt.Fprintf(&b, "\n%s", reach.Plot(f.Curve))
		}
	}
	if v.Virtual {
		b.WriteString("\nVIRTUAL BOARD: nothing here is true of any real reader.\n")
	}
	return b.String() + "\nrecords: " + v.Records + "\n"
}

// rangeProcedure is what a range rests on, and it: the steps of a recheck, which change
// nothing that the board stores, with the range step of the sitting.
func rangeProcedure(st *sitePlan, sitting checklist.Sitting) (checklist.Procedure, error) {
	p, err := loadProcedure(st.Folder, checklist.ProcedureRecheck)
	if err != nil {
		return p, err
	}
	if sitting == checklist.Bench {
		fresh, err := loadProcedure(st.Folder, checklist.ProcedureNew)
		if err != nil {
			return p, err
		}
		at := slices.IndexFunc(fresh.Steps, func(s checklist.Step) bool { return s.Check == "range" && s.Sitting == checklist.Bench })
		mine := slices.IndexFunc(p.Steps, func(s checklist.Step) bool { return s.Check == "range" })
		if at >= 0 && mine >= 0 {
			needs := p.Steps[mine].Needs
			p.Steps[mine] = fresh.Steps[at]
			p.Steps[mine].Needs, p.Steps[mine].Stage = needs, ""
		}
	}
	p.Name, p.Steps = "range", restingOn(p.Steps, "range")
	if len(p.Steps) == 0 {
		return p, toolError{err: errors.New("procedure recheck: has no range step"), try: "the built-in procedure, without one of the site's own"}
	}
	for i := range p.Steps {
		p.Steps[i].Sitting = sitting
	}
	return p, nil
}

// restingOn are the steps of a kind of check with all that they need, in their order.
func restingOn(steps []checklist.Step, check string) (kept []checklist.Step) {
	wanted := map[string]bool{}
	for _, s := range slices.Backward(steps) {
		if s.Check == check || wanted[s.ID] {
			kept = append(kept, s)
			for _, id := range s.Needs {
				wanted[id] = true
			}
		}
	}
	slices.Reverse(kept)
	return kept
}
