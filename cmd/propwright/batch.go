package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist"
)

const batchLong = `batch takes several boards through the bench sitting together, one part of it after
the other: all are inspected, then all are tried at the bench, then all are ranged,
and at the end all reports are signed at once, under one name and with one key.

Each time, plug in whichever board you like: it is told from the others by the MAC
that it prints, never by its adapter, and a board of another prop is refused. One that
prints none you name by its label. A board that fails is left out of what follows and
still gets its report. What one board has unlike the others is named at the end.

While the next board is waited for you may say skip BOARD REASON or abort REASON;
--resume goes on with the last batch.`

type batchOptions struct {
	commissionOptions
	file string
}

func newBatchCmd(d deps) *cobra.Command {
	var o batchOptions
	cmd := &cobra.Command{
		Use:   "batch PROP...",
		Short: "Take several props' boards through the bench together",
		Long:  batchLong,
		Example: `  propwright batch harbour-bell chart-table --port /dev/ttyUSB0 --listen 10.77.0.10:502
  propwright batch --file tonight.txt --port /dev/ttyUSB0 --listen 10.77.0.10:502 --answers bench.toml`,
		Args: checkArgs(cobra.ArbitraryArgs),
		RunE: func(c *cobra.Command, args []string) error {
			return runBatch(c.Context(), d, o, args)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.file, "file", "", "file with the names of the props, one a line, besides those given")
	addBoardFlags(cmd, &o.commissionOptions)
	addSiteFlag(cmd, &o.site)
	addPersonFlags(cmd, &o.commissionOptions)
	f.BoolVar(&o.resume, "resume", false, "go on with the site's last batch")
	return cmd
}

func runBatch(ctx context.Context, d deps, o batchOptions, props []string) error {
	if o.file != "" {
		listed, err := readPropList(o.file)
		if err != nil {
			return err
		}
		props = append(props, listed...)
	}
	if err := checkProps(props, o.resume); err != nil {
		return err
	}
	st, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer st.Close()
	signing, err := signingOf(st.Folder, d, o.signer, o.role, o.key)
	if err != nil {
		return err
	}
	o.procedure = firstOf(o.procedure, checklist.ProcedureNew)
	file, err := chooseBatch(ctx, st, o, props)
	if err != nil {
		return err
	}
	b, err := newBatch(ctx, st, d, o.commissionOptions, file, signing)
	if err != nil {
		return err
	}
	verdict, err := b.run(ctx)
	return finishBatch(b, verdict, errors.Join(err, b.Close()))
}

// checkProps refuses what can be no batch, before anything is opened.
func checkProps(props []string, resume bool) error {
	switch {
	case resume && len(props) > 0:
		return usageError{errors.New("resume: the batch knows its props, so none is to be given")}
	case !resume && len(props) < 2:
		return usageError{fmt.Errorf("batch: %d props, a batch has two or more", len(props))}
	}
	for i, prop := range props {
		if slices.Contains(props[:i], prop) {
			return usageError{fmt.Errorf("prop %q: twice in the batch", prop)}
		}
	}
	return nil
}

// chooseBatch is the batch to go on with, or a new one.
func chooseBatch(ctx context.Context, st *sitePlan, o batchOptions, props []string) (*batchFile, error) {
	dir := batchesDir(st)
	if o.resume {
		file, err := lastBatch(dir, st.Reports())
		if err != nil {
			return nil, toolError{what: "batch", err: err, try: "propwright batch PROP... to begin one"}
		}
		return file, nil
	}
	members, err := membersOf(ctx, st, props)
	if err != nil {
		return nil, err
	}
	p, err := loadProcedure(st.Folder, o.procedure)
	if err != nil {
		return nil, err
	}
	if len(p.Sitting(checklist.Bench)) == 0 {
		return nil, usageError{fmt.Errorf("procedure %q: has no step at the bench", p.Name)}
	}
	file, err := makeBatch(dir, st.Reports(), p, members)
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("site %q", st.Dir), err: withoutPath(err), try: "--site with a folder that can be written"}
	}
	return file, nil
}

// membersOf are the boards of a batch as the site plans them.
func membersOf(ctx context.Context, st *sitePlan, props []string) ([]*batchMember, error) {
	var members []*batchMember
	for _, prop := range props {
		item, err := itemOf(ctx, st, prop)
		if err != nil {
			return nil, err
		}
		members = append(members, &batchMember{Prop: prop, Board: item.Board.Asset, MAC: item.Board.MAC})
	}
	return members, nil
}

// readPropList reads names of props, one a line; # begins a remark.
func readPropList(path string) ([]string, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("list %q", path), err: withoutPath(err), try: "the path of a text file"}
	}
	var props []string
	n := 0
	for line := range strings.Lines(string(text)) {
		n++
		line, _, _ = strings.Cut(line, "#")
		switch words := strings.Fields(line); len(words) {
		case 0:
		case 1:
			props = append(props, words[0])
		default:
			return nil, usageError{fmt.Errorf("list %s:%d: %d words, want the name of one prop", path, n, len(words))}
		}
	}
	return props, nil
}

// finishBatch says how a batch ended.
func finishBatch(b *batch, verdict checklist.Verdict, err error) error {
	goesOn := "propwright batch --resume goes on where it stopped"
	switch {
	case err == nil:
	case errors.Is(err, checklist.ErrPersonGone), errors.Is(err, checklist.ErrAborted):
		return hintedError{interruptedError{err}, goesOn}
	case errors.Is(err, checklist.ErrNoAnswer):
		return hintedError{toolError{what: "batch " + b.file.dir, err: err}, "an answer in --answers FILE, or a terminal to answer at; then --resume"}
	default:
		return hintedError{toolSide(b.file.dir, err), goesOn}
	}
	fmt.Fprintf(b.d.out, "batch: %s\n", filepath.Join(b.file.dir, batchSummary))
	if verdict != checklist.Passed {
		return errVerdict
	}
	return nil
}

// signedBy wraps a person who has said once for all boards whether their reports are
// to be signed.
type signedBy struct {
	checklist.Person
	answer checklist.Answer
}

func (s signedBy) Ask(ctx context.Context, q checklist.Question) (checklist.Answer, error) {
	if q.Key == checklist.SignQuestion {
		return checklist.Answer{Text: s.answer.Text, By: s.answer.By}, nil
	}
	return s.Person.Ask(ctx, q)
}

// Hear passes the signal on.
func (s signedBy) Hear(sig checklist.Signal) { checklist.Tell(s.Person, sig) }
