package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/checklist/reach"
	"propwright/serialmon/clock"
)

// A batch is several boards on their way through the bench sitting.
type batch struct {
	d       deps
	file    *batchFile
	site    *sitePlan
	signing signing
	clock   clock.Clock
	people  cast // its person, commands and skips, for all boards
	// equip says with what a board's part of the sitting is walked; its port is the one
	// that the board is at.
	equip func(folder *runFolder, item checklist.Item) (cast, error)
	// part lets a board's part of the sitting go; nil just closes it.
	part func(*conduct) error
	door *door // nil without a port
	// standings are how far the members have come, in their order.
	standings []standing
}

// newBatch brings the people in, once for all boards.
func newBatch(ctx context.Context, st *sitePlan, d deps, o commissionOptions, file *batchFile, s signing) (*batch, error) {
	b := &batch{d: d, file: file, site: st, signing: s}
	p, err := loadProcedure(st.Folder, file.Procedure)
	if err != nil {
		return nil, err
	}
	if err := people(ctx, d, o, p, &b.people); err != nil {
		return nil, err
	}
	b.equip = func(folder *runFolder, item checklist.Item) (cast, error) { return equip(st, d, o, item, folder) }
	b.clock, _ = clockOf(o, &runFolder{}, d.now())
	if o.port == "" {
		return b, nil
	}
	first, err := itemOf(ctx, st, file.Members[0].Prop)
	if err != nil {
		return nil, err
	}
	b.door, err = openDoor(ctx, b, func() (*portPlan, error) { return portOf(st, o, first) })
	return b, err
}

// Close lets everything go.
func (b *batch) Close() error {
	var err error
	if b.door != nil {
		err = b.door.Close()
	}
	for _, closing := range slices.Backward(b.people.closing) {
		err = errors.Join(err, closing())
	}
	return err
}

// A standing is how far a member has come.
type standing struct {
	procedure checklist.Procedure
	outcomes  map[checklist.Place]checklist.Outcome
	reported  bool
}

// look reads how far all members have come from their own runs; a member that is
// worked on is looked at again when it is left.
func (b *batch) look(ctx context.Context) error {
	b.standings = make([]standing, len(b.file.Members))
	for i := range b.file.Members {
		if err := b.lookAt(ctx, i); err != nil {
			return err
		}
	}
	return nil
}

// lookAt is look at one member, by its place.
func (b *batch) lookAt(ctx context.Context, i int) error {
	m := b.file.Members[i]
	folder, err := b.file.folder(m)
	if err != nil {
		return err
	}
	s := standing{procedure: folder.procedure}
	if folder.header() == nil {
		item, err := itemOf(ctx, b.site, m.Prop)
		if err != nil {
			return errors.Join(err, folder.journal.Close())
		}
		s.procedure = folder.procedure.Of(item)
	}
	s.outcomes, s.reported = checklist.Outcomes(folder.known(), s.procedure), folder.reported(checklist.Bench)
	b.standings[i] = s
	return folder.journal.Close()
}

// verdict is the worst that a step of the bench has come to. Before the report is
// signed the steps of the last stage, which sign for it, do not count.
func (s standing) verdict() checklist.Verdict {
	worst := checklist.Passed
	stages := s.procedure.Stages(checklist.Bench)
	for _, step := range s.procedure.Sitting(checklist.Bench) {
		o, decided := s.outcomes[step.Place()]
		switch {
		case !s.reported && step.Stage == stages[len(stages)-1]:
		case !decided:
			worst = worst.Worse(checklist.NotConfirmed)
		case o.Verdict != checklist.Skipped || !step.MaySkip:
			worst = worst.Worse(o.Verdict)
		}
	}
	return worst
}

// failed reports whether a step of the bench has failed.
func (s standing) failed() bool {
	for _, step := range s.procedure.Sitting(checklist.Bench) {
		if s.outcomes[step.Place()].Verdict == checklist.Failed {
			return true
		}
	}
	return false
}

// open reports whether a step of a stage is still to be decided.
func (s standing) open(stage string) bool {
	for _, step := range s.procedure.Sitting(checklist.Bench) {
		if _, decided := s.outcomes[step.Place()]; step.Stage == stage && !decided {
			return true
		}
	}
	return false
}

// run takes all boards through all stages and signs their reports. It returns the
// worst verdict of them.
func (b *batch) run(ctx context.Context) (checklist.Verdict, error) {
	p, err := loadProcedure(b.site.Folder, b.file.Procedure)
	if err != nil {
		return checklist.NotConfirmed, err
	}
	if err := b.look(ctx); err != nil {
		return checklist.NotConfirmed, err
	}
	fmt.Fprintf(b.d.err, "batch %d: %d boards\n", b.file.Number, len(b.file.Members))
	stages := p.Stages(checklist.Bench)
	for _, stage := range stages[:len(stages)-1] {
		if err := b.stage(ctx, p, stage); err != nil {
			return checklist.NotConfirmed, err
		}
	}
	return b.sign(ctx, stages[len(stages)-1])
}

// stage takes every board that has not failed through one stage.
func (b *batch) stage(ctx context.Context, p checklist.Procedure, stage string) error {
	console := false
	checks := checksWith(nil, reach.Range{})
	for _, s := range p.Sitting(checklist.Bench) {
		console = console || s.Stage == stage && checks[s.Check] != nil && checks[s.Check].Console()
	}
	var last *batchMember
	for {
		todo := b.todo(stage)
		if len(todo) == 0 {
			return nil
		}
		m, how := todo[0], ""
		if console && b.door != nil {
			var err error
			if m, how, err = b.door.next(ctx, stage, todo, last); err != nil {
				return err
			}
			if m == nil {
				continue // one was left out
			}
			last = m
		} else if err := b.people.person.Instruct(ctx, checklist.Instruction{
			Act: checklist.ActNote, Figure: fmt.Sprintf("%d", len(todo)),
			Text: fmt.Sprintf("Board %s of prop %s, %s; %d to go.", m.Board, m.Prop, stage, len(todo)),
		}); err != nil {
			return err
		}
		if err := b.walk(ctx, m, stage, how); err != nil {
			return err
		}
	}
}

// todo are the members that a stage is still open for.
func (b *batch) todo(stage string) []*batchMember {
	var todo []*batchMember
	for i, m := range b.file.Members {
		s := b.standings[i]
		if m.LeftOut == "" && !s.reported && !s.failed() && s.open(stage) {
			todo = append(todo, m)
		}
	}
	return todo
}

// conduct takes up a member's run for one stage.
func (b *batch) conduct(ctx context.Context, m *batchMember, stage string) (*conduct, error) {
	folder, err := b.file.folder(m)
	if err != nil {
		return nil, err
	}
	item, err := itemOf(ctx, b.site, m.Prop)
	if err != nil {
		return nil, errors.Join(err, folder.journal.Close())
	}
	c, err := b.equip(folder, item)
	if err != nil {
		return nil, errors.Join(err, folder.journal.Close())
	}
	c.person, c.commands, c.skip = b.people.person, b.people.commands, b.people.skip
	if c.port != nil && b.door != nil {
		c.port.options.Name = b.door.name
	}
	fmt.Fprintf(b.d.err, "report %d: board %s of prop %s, %s\n", folder.number, m.Board, m.Prop, stage)
	run, err := newConduct(ctx, folder, c)
	if err != nil {
		return nil, err
	}
	run.engine.Only = func(s checklist.Step) bool { return s.Stage == stage }
	return run, nil
}

// walk takes one board through one stage; how says by what it was recognised.
func (b *batch) walk(ctx context.Context, m *batchMember, stage, how string) (err error) {
	run, err := b.conduct(ctx, m, stage)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.leave(ctx, run, m)) }()
	if how != "" {
		if _, err := run.log.Append(checklist.Entry{Type: checklist.EntryNote, Note: how}); err != nil {
			return err
		}
	}
	_, err = run.walk(ctx, checklist.Bench)
	if errors.Is(err, checklist.ErrAborted) {
		return b.leaveOut(m, strings.TrimPrefix(err.Error(), checklist.ErrAborted.Error()+": "))
	}
	return err
}

// leave lets a member's run go.
func (b *batch) leave(ctx context.Context, run *conduct, m *batchMember) error {
	part := (*conduct).Close
	if b.part != nil {
		part = b.part
	}
	return errors.Join(part(run), b.lookAt(ctx, slices.Index(b.file.Members, m)))
}

// leaveOut takes a member out of what is still to come.
func (b *batch) leaveOut(m *batchMember, why string) error {
	m.LeftOut = why
	fmt.Fprintf(b.d.err, "left out: board %s of prop %s: %s\n", m.Board, m.Prop, why)
	return b.file.save()
}

// sign shows how all came out, asks once, and signs each report.
func (b *batch) sign(ctx context.Context, stage string) (checklist.Verdict, error) {
	sum := b.summarise()
	sum.print(b.d.err)
	q := checklist.Question{
		Step: stepSignOff, Key: checklist.SignQuestion, Kind: checklist.AskConfirm,
		Text: fmt.Sprintf("%d boards: %s. The master is with its keeper, and what the reports say is what was done. Sign them all?", len(sum.Boards), sum.counts()),
	}
	if slices.ContainsFunc(b.standings, func(s standing) bool { return !s.reported }) {
		answer, err := b.people.person.Ask(ctx, q)
		if err != nil {
			return checklist.NotConfirmed, fmt.Errorf("sign-off: %w", err)
		}
		for i, m := range b.file.Members {
			if b.standings[i].reported {
				continue
			}
			if err := b.signOne(ctx, m, stage, answer); err != nil {
				return checklist.NotConfirmed, err
			}
		}
	}
	sum = b.summarise()
	sum.print(b.d.out)
	return sum.worst(), b.file.write(batchSummary, sum)
}

// stepSignOff is the step that answers for signing are given under.
const stepSignOff = "sign-off"

// signOne ends a member's sitting with its signed report.
func (b *batch) signOne(ctx context.Context, m *batchMember, stage string, answer checklist.Answer) (err error) {
	run, err := b.conduct(ctx, m, stage)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.leave(ctx, run, m)) }()
	note := fmt.Sprintf("signed with the %d reports of batch %d at once", len(b.file.Members), b.file.Number)
	if m.LeftOut != "" {
		note = fmt.Sprintf("left out of batch %d: %s; %s", b.file.Number, m.LeftOut, note)
	}
	if _, err := run.log.Append(checklist.Entry{Type: checklist.EntryNote, Note: note}); err != nil {
		return err
	}
	run.engine.Person = signedBy{b.people.person, answer}
	_, err = run.sit(ctx, checklist.Bench, b.signing)
	return err
}
