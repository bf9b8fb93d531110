package checklist

import (
	"context"
	"fmt"
	"strings"
	"time"

	"propwright/parsers"
)

// Presentation is one tag shown to the reader.
type Presentation struct {
	Role      string
	Act       Act // ActPresent or ActPlace
	SpacingMM float64
	Hold      time.Duration
	Reader    int
	Within    time.Duration  // how long to wait for Kinds
	Kinds     []parsers.Kind // what counts as the reader's reply
	Text      string         // what the person is told; "" for the usual words
	Figure    string         // what is read of it from afar, such as "3/14"
	// Trial, where set, says that this is one of several presentations that are
	// counted, and under which name their results go on record (Scene.Measure). The
	// spare card, shown instead of the tag, then takes the last one back.
	Trial string
}

// Present asks for a tag and returns the reader's reply to it; ok is false when
// none came in time. The first reply to a role teaches the run that tag; a reply
// to a tag of another role is told to the person and the tag is asked for once
// more. With p.Trial set, the spare card takes the last presentation back: the
// error is then ErrVoided, and the caller counts anew what is on record.
func (s *Scene) Present(ctx context.Context, p Presentation) (reply Entry, ok bool, err error) {
	if p.Reader == 0 {
		p.Reader = s.Reader().Index
	}
	if p.Text == "" {
		p.Text = s.presentText(p)
	}
	in := Instruction{Act: p.Act, Role: p.Role, SpacingMM: p.SpacingMM, Hold: p.Hold, Reader: p.Reader, Text: p.Text, Figure: p.Figure}
	for try := 1; ; try++ {
		c := s.Cursor()
		if err := s.Instruct(ctx, in); err != nil {
			return Entry{}, false, err
		}
		asked := s.Now()
		reply, ok, err = s.reply(ctx, p, c)
		switch {
		case err != nil:
			return reply, ok, err
		case !ok:
			s.engine.tell(Signal{Sound: SoundBad, Word: "MISSED", Figure: p.Figure})
			return reply, ok, nil
		case p.Trial != "" && p.Role != RoleSpare && s.isSpare(reply):
			return Entry{}, false, s.takeBack(ctx, p, reply)
		}
		wrong, err := s.otherThanAsked(p.Role, uidOf(reply.Event))
		if err != nil {
			return Entry{}, false, err
		}
		if wrong == "" {
			s.took(s.Now().Sub(asked))
			s.engine.tell(Signal{Sound: SoundGood, Word: "READ", Figure: p.Figure})
			return reply, true, nil
		}
		s.engine.tell(Signal{Sound: SoundBad, Word: "OTHER", Figure: p.Figure})
		if try == 3 {
			return reply, false, nil
		}
		in.Text = fmt.Sprintf("That was %s. %s", wrong, p.Text)
		if err := s.Note("step %s: %s was shown where %s was asked for", s.Step.ID, wrong, p.Role); err != nil {
			return Entry{}, false, err
		}
	}
}

// reply waits for the reader's reply. A trial that is not read has its whole
// window as evidence, so that window is an observation.
func (s *Scene) reply(ctx context.Context, p Presentation, c *Cursor) (Entry, bool, error) {
	what := ""
	if p.Trial != "" {
		what = "tag not read in its window"
	}
	return s.await(ctx, what, c, p.Within, func(e Entry) bool { return s.isKind(e, p.Kinds...) })
}

// otherThanAsked says in words which tag was shown instead of the one asked for, ""
// where it is the one: by the site's register, then by what the run has learned.
func (s *Scene) otherThanAsked(role, uid string) (words string, err error) {
	if words := s.Item.misfit(role, uid); words != "" {
		return words, nil
	}
	wrong, err := s.learn(role, uid)
	if wrong != "" {
		words = "the tag called " + wrong
	}
	return words, err
}

// learn remembers which tag plays a role; wrong is the role that the tag already
// plays, where that is another.
func (s *Scene) learn(role, uid string) (wrong string, err error) {
	if uid == "" {
		return "", nil
	}
	b := s.Belief()
	switch known := b.RoleOf(uid); {
	case known == role:
		return "", nil
	case known != "":
		return known, nil
	case b.Roles[role] != "":
		return "new to this run", nil
	}
	_, err = s.Measure(Measure{Name: measureRole, Value: 1, Unit: "1", Params: map[string]string{"role": role, "uid": uid}})
	return "", err
}

// Lift waits until the tag is off again: until leaving is seen where the board
// reports it, else for the given time.
func (s *Scene) Lift(ctx context.Context, c *Cursor, pause time.Duration) error {
	if s.Item.Board.Leaving == "reported" {
		_, _, err := s.AwaitKind(ctx, c, pause+4*time.Second, parsers.KindTagAbsent)
		return err
	}
	return s.Pause(ctx, pause)
}

func (s *Scene) presentText(p Presentation) string {
	reader := s.which(p.Reader)
	what := map[string]string{
		RoleMaster: "the master tag" + s.Item.keptBy(), RoleShow: "the prop's own tag, in its object",
		RoleSpare: "the spare card", RoleStranger: "a tag that is on no list",
	}[p.Role]
	if n, further := strings.CutPrefix(p.Role, RoleShow+"-"); further {
		what = "card " + n + " of the prop"
	}
	if what == "" {
		what = "the tag called " + p.Role
	}
	at := ""
	if p.SpacingMM > 0 {
		at = fmt.Sprintf(" over spacers of %g mm", p.SpacingMM)
	}
	if p.Act == ActPlace {
		return fmt.Sprintf("Lay %s on %s%s and leave it there.", what, reader, at)
	}
	if p.Hold > 3*time.Second {
		return fmt.Sprintf("Hold %s on %s%s for %g seconds, then lift it.", what, reader, at, p.Hold.Seconds())
	}
	return fmt.Sprintf("Touch %s%s with %s and lift it.", reader, at, what)
}
