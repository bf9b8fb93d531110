package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"propwright/checklist"
	"propwright/checklist/plan"
	"propwright/parsers"
	"propwright/serialmon"
)

// How boards are waited for.
const (
	doorLook    = 500 * time.Millisecond // between two looks for the port
	doorBoot    = 2500 * time.Millisecond
	doorTelling = 6 * time.Second // from opening the port, or from a reset, to the MAC at the latest
	doorLeave   = 10 * time.Minute
)

// A door is where the boards of a batch come in: the port, and what was heard there
// before it was known whose it is. Its record is the batch's own, and no board's.
type door struct {
	*conduct
	batch *batch
	port  func() (*portPlan, error)
	name  string          // the port that the board last recognised is at
	board *portBoard      // that is attached while it is not known yet
	known map[string]bool // ports that were there when the first board was waited for
}

// openDoor opens the batch's own record.
func openDoor(ctx context.Context, b *batch, port func() (*portPlan, error)) (*door, error) {
	journal, entries, err := checklist.OpenJournal(filepath.Join(b.file.dir, "journal.jsonl"))
	if err != nil {
		return nil, err
	}
	folder := &runFolder{dir: b.file.dir, number: b.file.Number, procedure: checklist.Procedure{Name: "batch"}, journal: journal, entries: entries}
	wording, err := chooseWording(b.site.File.Defaults.Wording, b.site.Dir)
	if err != nil {
		return nil, errors.Join(err, journal.Close())
	}
	run, err := newConduct(ctx, folder, cast{clock: b.clock, wording: wording, person: b.people.person})
	if err != nil {
		return nil, err
	}
	return &door{conduct: run, batch: b, port: port}, nil
}

// errLeftOut ends the waiting for a board because the person leaves one out.
type errLeftOut struct{ board, why string }

func (e errLeftOut) Error() string { return fmt.Sprintf("board %q is left out: %s", e.board, e.why) }

// next asks for a board and waits for one that a stage is still open for; how says by
// what it was recognised. It is nil when one was left out instead.
func (k *door) next(ctx context.Context, stage string, todo []*batchMember, last *batchMember) (m *batchMember, how string, err error) {
	ctx, cancel := context.WithCancelCause(ctx)
	var listening sync.WaitGroup
	defer listening.Wait()
	defer cancel(nil)
	if k.batch.people.commands != nil {
		reply := fmt.Sprintf("No step is under way: plug a board in, or say skip BOARD REASON of %s, or abort REASON.", boardsOf(todo))
		listening.Go(func() {
			unasked(ctx, cancel, k.batch.people.person, k.batch.people.commands, reply, func(c checklist.Command) error { return obey(c, todo) })
		})
	}
	m, how, err = k.await(ctx, stage, todo, last)
	if left, ok := errors.AsType[errLeftOut](err); ok {
		i := slices.IndexFunc(todo, func(m *batchMember) bool { return m.Board == left.board })
		return nil, "", k.batch.leaveOut(todo[i], left.why)
	}
	return m, how, err
}

// obey ends the waiting where the person leaves a board out, or ends the batch.
func obey(c checklist.Command, todo []*batchMember) error {
	switch board, why, _ := strings.Cut(c.Text, " "); {
	case c.Verb == checklist.CommandAbort:
		return fmt.Errorf("%w: %s", checklist.ErrAborted, c.Text)
	case c.Verb == checklist.CommandSkip && why != "" && slices.ContainsFunc(todo, func(m *batchMember) bool { return m.Board == board }):
		return errLeftOut{board, why}
	}
	return nil
}

// await is next without the commands.
func (k *door) await(ctx context.Context, stage string, todo []*batchMember, last *batchMember) (*batchMember, string, error) {
	text := fmt.Sprintf("Plug in %s, for %s.", oneOf(todo), stage)
	if last != nil {
		text = fmt.Sprintf("Take board %s out of USB, and plug in the next: %s, for %s.", last.Board, oneOf(todo), stage)
	}
	if err := k.ask(ctx, text, len(todo)); err != nil {
		return nil, "", err
	}
	for {
		board, err := k.attach(ctx)
		if err != nil {
			return nil, "", err
		}
		m, how, refused, err := k.recognise(ctx, board, todo)
		if err == nil && m == nil {
			err = k.turnAway(ctx, fmt.Sprintf("%s Plug in %s, for %s.", refused, oneOf(todo), stage), len(todo))
		}
		if err = errors.Join(err, board.Detach()); err != nil {
			return nil, "", err
		}
		if m != nil {
			k.sound(checklist.Signal{Sound: checklist.SoundGood, Word: "KNOWN"})
			return m, how, nil
		}
	}
}

// turnAway has a board taken out of USB and waits until it is gone.
func (k *door) turnAway(ctx context.Context, text string, left int) error {
	k.sound(checklist.Signal{Sound: checklist.SoundBad, Word: "OTHER"})
	if err := k.ask(ctx, text, left); err != nil {
		return err
	}
	return k.awaitGone(ctx)
}

func (k *door) ask(ctx context.Context, text string, left int) error {
	return k.batch.people.person.Instruct(ctx, checklist.Instruction{Act: checklist.ActNext, Text: text, Figure: fmt.Sprintf("%d", left)})
}

func (k *door) sound(sig checklist.Signal) { checklist.Tell(k.batch.people.person, sig) }

func boardsOf(members []*batchMember) string {
	var names []string
	for _, m := range members {
		names = append(names, m.Board)
	}
	return strings.Join(names, ", ")
}

// oneOf asks for one of several boards, or for the one that is left.
func oneOf(members []*batchMember) string {
	if len(members) == 1 {
		return members[0].Board
	}
	return "one of " + boardsOf(members)
}

// attach opens the port once it is there: the one that was named, or the only one
// that has appeared since boards were last waited for.
func (k *door) attach(ctx context.Context) (*portBoard, error) {
	until := k.clock.Now().Add(doorLeave)
	told := ""
	for {
		plan, err := k.port()
		if err != nil {
			return nil, err
		}
		options := plan.options
		options.Clock, options.Record, options.Sink = k.clock, k.record, k.console
		options.Name = k.appeared(options.Name)
		board := &portBoard{options: options, auto: plan.auto}
		if err = board.Attach(ctx); err == nil {
			k.name, k.board = options.Name, board
			return board, nil
		}
		refused, is := errors.AsType[*serialmon.OpenError](err)
		if !is || refused.Reason == serialmon.ReasonSpeed || k.clock.Now().After(until) {
			return nil, err
		}
		if refused.Reason != serialmon.ReasonMissing && told != err.Error() {
			told = err.Error()
			note := checklist.Instruction{Act: checklist.ActNote, Text: fmt.Sprintf("%s: %s.", told, refused.Hint)}
			if err := k.batch.people.person.Instruct(ctx, note); err != nil {
				return nil, err
			}
		}
		if err := k.clock.Sleep(ctx, doorLook); err != nil {
			return nil, context.Cause(ctx)
		}
	}
}

// appeared is the port to open: the name given where there is such a port, else the
// only USB port that was not there before.
func (k *door) appeared(name string) string {
	ports, err := serialmon.ListPorts()
	if err != nil {
		return name
	}
	first := k.known == nil
	if first {
		k.known = map[string]bool{name: true}
	}
	var fresh []string
	for _, p := range ports {
		switch {
		case p.Name == name:
			return name
		case first:
			k.known[p.Name] = true
		case p.VID != "" && !k.known[p.Name]:
			fresh = append(fresh, p.Name)
		}
	}
	if _, err := os.Lstat(name); err == nil || len(fresh) != 1 {
		return name
	}
	return fresh[0]
}

// recognise says which member a board is, by the MAC that it prints, or where it
// prints none by its label; refused says why it is none that is waited for.
func (k *door) recognise(ctx context.Context, board *portBoard, todo []*batchMember) (m *batchMember, how, refused string, err error) {
	mac, err := k.listen(ctx, board)
	switch {
	case err != nil:
		return nil, "", "", err
	case mac == "" && k.log.Belief().Attached == checklist.No:
		return nil, "", "That board is gone again.", nil
	case mac == "":
		return k.label(ctx, todo)
	}
	for _, m := range k.batch.file.Members {
		if !sameMAC(m.MAC, mac) {
			continue
		}
		if slices.Contains(todo, m) {
			return m, "recognised by the MAC that it prints, " + mac, "", nil
		}
		return nil, "", fmt.Sprintf("This is board %s, which has nothing open here. Take it out of USB.", m.Board), nil
	}
	p, err := k.batch.site.Load(ctx)
	if err != nil {
		return nil, "", "", err
	}
	for _, other := range p.Boards {
		if sameMAC(other.MAC.String(), mac) {
			whose := "at no prop"
			if i := slices.IndexFunc(p.Props, func(q plan.Prop) bool { return q.Board == other.Name }); i >= 0 {
				whose = "of prop " + p.Props[i].Name
			}
			return nil, "", fmt.Sprintf("This is board %s %s, which is not in this batch: nothing is done with it. Take it out of USB.", other.Name, whose), nil
		}
	}
	return nil, "", fmt.Sprintf("This board prints MAC %s, which the site's plan does not have: nothing is done with it. Take it out of USB.", mac), nil
}

func sameMAC(a, b string) bool {
	x, errX := net.ParseMAC(a)
	y, errY := net.ParseMAC(b)
	return errX == nil && errY == nil && slices.Equal(x, y)
}

// listen waits for the MAC that a board prints at its start; "" where it prints none.
func (k *door) listen(ctx context.Context, board *portBoard) (mac string, err error) {
	from := k.log.Len()
	if mac, booted, err := k.told(ctx, from, doorBoot, false); err != nil || mac != "" || booted {
		if mac != "" || err != nil {
			return mac, err
		}
	} else if err := board.Reset(ctx); err != nil {
		return "", nil // it does not restart: its label has to do
	}
	mac, _, err = k.told(ctx, from, doorTelling, true)
	return mac, err
}

// told reads what a board says after an entry until it has told its MAC, or for the
// time given; booted ends it too unless all is waited for.
func (k *door) told(ctx context.Context, from int64, within time.Duration, all bool) (mac string, booted bool, err error) {
	until := k.clock.Now().Add(within)
	for c := checklist.CursorAt(from); ; {
		e, ok, err := c.Next(ctx, k.log, until)
		if err != nil || !ok {
			return "", booted, err
		}
		switch {
		case e.Event == nil:
		case e.Event.Kind == parsers.KindBoot:
			if booted = true; !all {
				return "", true, nil
			}
		case e.Event.Field("mac") != "":
			return e.Event.Field("mac"), booted, nil
		case e.Event.Kind == parsers.KindSetting && e.Event.Field("name") == parsers.SettingMAC:
			return e.Event.Field("value"), booted, nil
		}
	}
}

// label asks which board it is that does not tell.
func (k *door) label(ctx context.Context, todo []*batchMember) (m *batchMember, how, refused string, err error) {
	q := checklist.Question{
		Step: "batch", Key: "board", Kind: checklist.AskText, Form: boardsOf(todo) + ", or other",
		Text: "This board does not tell its MAC. Which is it, by its label?",
	}
	for {
		a, err := k.batch.people.person.Ask(ctx, q)
		if err != nil {
			return nil, "", "", fmt.Errorf("board: %w", err)
		}
		a.Question = q
		if _, err := k.log.Append(checklist.Entry{Type: checklist.EntryAnswer, Answer: &a}); err != nil {
			return nil, "", "", err
		}
		for _, m := range todo {
			if m.Board == a.Text {
				return m, fmt.Sprintf("it told no MAC; that it is board %s is the word of %s", m.Board, a.By), "", nil
			}
		}
		if a.Text == "other" {
			return nil, "", "Nothing is done with it. Take it out of USB.", nil
		}
		q.Text = fmt.Sprintf("%q is none of those. Which is it, by its label?", a.Text)
	}
}

// awaitGone waits until the board that is attached is taken out.
func (k *door) awaitGone(ctx context.Context) error {
	c := checklist.CursorAt(k.log.Len())
	if k.log.Belief().Attached == checklist.No {
		return nil // gone while the person was told
	}
	for {
		e, ok, err := c.Next(ctx, k.log, k.clock.Now().Add(doorLeave))
		switch {
		case err != nil:
			return err
		case !ok:
			return fmt.Errorf("the same board is plugged in for %s", doorLeave)
		case checklist.IsKind(e, parsers.KindDetached):
			return nil
		}
	}
}
