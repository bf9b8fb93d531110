package checklist

import (
	"context"
	"errors"
	"fmt"
	"time"

	"propwright/parsers"
)

// A Reflash is on record twice for each time that the board gets new firmware in
// the middle of a run: as the port is let go, and as the board is back.
type Reflash struct {
	State  ReflashState `json:"state"`
	Before string       `json:"before,omitempty"` // firmware as the board told it; "" where it did not
	After  string       `json:"after,omitempty"`  // once it is back
	Lists  ListsFate    `json:"lists,omitempty"`  // once it is back
	How    How          `json:"how,omitempty"`    // measured: its start says so; stated: a person does
}

// A ReflashState is how far a re-flash has come.
type ReflashState string

// The states.
const (
	ReflashLetGo ReflashState = "let go"
	ReflashBack  ReflashState = "back"
)

// A ListsFate is what became of master and cards.
type ListsFate string

// The fates.
const (
	ListsKept  ListsFate = "kept"
	ListsLost  ListsFate = "lost"
	ListsEmpty ListsFate = "empty" // there was nothing to lose
)

const (
	changeSettings = "settings"
	changeLists    = "lists"
	stepReflash    = "reflash" // that the entries of a re-flash belong to; no step of a procedure
	reflashLook    = time.Second
)

// errReflash ends an attempt because the board is to get new firmware.
var errReflash = errors.New("the board is to be flashed again")

// String says it for people.
func (r Reflash) String() string {
	told := func(firmware string) string {
		if firmware == "" {
			return "firmware that does not tell its name"
		}
		return "firmware " + firmware
	}
	if r.State == ReflashLetGo {
		return "re-flash: the port is let go; before it: " + told(r.Before)
	}
	text := fmt.Sprintf("re-flashed: %s, before it %s", told(r.After), told(r.Before))
	by := "its start says so"
	if r.How == Stated {
		by = "a person's word"
	}
	switch r.Lists {
	case ListsKept:
		text += "; master and cards were kept (" + by + ")"
	case ListsLost:
		text += "; master and cards were not kept (" + by + ")"
	case ListsEmpty:
		text += "; there were no master and cards to keep"
	}
	return text
}

// letGo is the re-flash that is not over, nil when there is none; n is the number
// of the entry with which it began.
func letGo(entries []Entry) (r *Reflash, n int64) {
	for _, e := range entries {
		if e.Reflash == nil {
			continue
		}
		r, n = nil, 0
		if e.Reflash.State == ReflashLetGo {
			r, n = e.Reflash, e.N
		}
	}
	return r, n
}

// reflash lets the port go for a flash and takes it back, or goes on with one that
// an earlier process had begun. What rested on the settings holds no longer from
// the moment the port is let go; what rested on the lists only where they are lost.
// A port that does not come back is the error of opening it.
func (e *Engine) reflash(ctx context.Context, sitting Sitting) error {
	s := &Scene{Step: Step{ID: stepReflash, Sitting: sitting}, Item: e.Item, Log: e.Log, Clock: e.Clock, Attempt: 1, engine: e, calm: true}
	e.Log.under(s.Step.Place())
	defer e.Log.under(Place{})
	s.begin = e.Log.Len()
	s.first, s.watched, s.kept = s.begin, s.begin, s.begin
	err := e.heed(ctx, e.duringReflash, func(ctx context.Context) error {
		return e.flash(ctx, s)
	})
	if err != nil {
		return fmt.Errorf("re-flash: %w", err)
	}
	if e.Reopened != nil {
		e.Reopened()
	}
	return nil
}

func (e *Engine) flash(ctx context.Context, s *Scene) error {
	before, began := letGo(e.Log.Entries(0))
	if before == nil {
		before = &Reflash{State: ReflashLetGo, Before: e.Log.Belief().Firmware.Value}
		entry, err := e.Log.Append(Entry{Type: EntryReflash, Reflash: before})
		if err != nil {
			return err
		}
		began = entry.N
		if _, err := e.Log.Append(Entry{Type: EntryExpire, Changed: []string{changeSettings}}); err != nil {
			return err
		}
	}
	// A tag that lies there as a wiped board starts would become its master.
	if err := s.Instruct(ctx, Instruction{Act: ActClear, Text: "Take every tag off the reader, and let go of the reader board."}); err != nil {
		return err
	}
	if err := e.Board.Detach(); err != nil {
		return err
	}
	if err := s.flashed(ctx); err != nil {
		return err
	}
	if err := s.reattach(ctx); err != nil {
		return err
	}
	if err := SameBoard(e.Log.Entries(0)); err != nil {
		return err
	}
	fate, how, err := s.listsAfter(ctx, began)
	if err != nil {
		return err
	}
	if fate == ListsLost {
		if _, err := e.Log.Append(Entry{Type: EntryExpire, Changed: []string{changeLists}}); err != nil {
			return err
		}
	}
	after := Reflash{State: ReflashBack, Before: before.Before, After: e.Log.Belief().Firmware.Value, Lists: fate, How: how}
	if _, err := e.Log.Append(Entry{Type: EntryReflash, Reflash: &after}); err != nil {
		return err
	}
	return e.Log.Sync()
}

// flashed waits until the person says that the board has its new firmware. Only a
// person knows: to open the port and look would restart the board under the loader.
func (s *Scene) flashed(ctx context.Context) error {
	q := Question{
		Key: "flashed", Kind: AskConfirm,
		Text: "The port is free: flash the board, and close the program that did it. Done?",
		Cautions: CautionTexts([]Caution{{
			Text: "One source at a time: the own supply off before USB is in.", Protects: "a burnt computer port or supply",
		}}),
	}
	for {
		answer, err := s.put(ctx, q)
		if err != nil {
			return err
		}
		if confirmed(answer.Answer.Text) == Passed {
			return nil
		}
		q.Text = "Say yes when it is done, whether the flash went well or not."
	}
}

// reattach opens the port once it is there and free, and lets the board's start
// through.
func (s *Scene) reattach(ctx context.Context) error {
	if err := s.clear(ctx); err != nil { // opening the port may restart the board
		return err
	}
	until := s.Now().Add(s.engine.patience())
	c := s.Cursor()
	for told := false; ; told = true {
		s.bootsOK = 1
		err := s.open(ctx)
		if err == nil {
			break
		}
		if !s.Now().Before(until) || ctx.Err() != nil {
			return err
		}
		if !told {
			text := "The port is not free, or not there yet: close the program that flashed, and plug USB in."
			if err := s.Instruct(ctx, Instruction{Act: ActNote, Text: text}); err != nil {
				return err
			}
		}
		if err := s.Pause(ctx, reflashLook); err != nil {
			return err
		}
	}
	_, booted, err := s.AwaitKind(ctx, c, bootWithin, parsers.KindBoot)
	if err != nil {
		return err
	}
	if !booted {
		if _, _, err := s.Reset(ctx); err != nil {
			return err
		}
	}
	return s.SettleWatching(ctx, asksForMaster)
}

// duringReflash takes what a person says while the port is let go: remarks and the
// end of the run. Steps wait, so there is nothing else to say.
func (e *Engine) duringReflash(ctx context.Context, c Command) error {
	if c.Verb == CommandNote || c.Verb == CommandAbort {
		return e.obey(ctx, c)
	}
	return e.Person.Instruct(ctx, Instruction{Act: ActNote, Text: "A re-flash is under way; first answer whether it is done."})
}
