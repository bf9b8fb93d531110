package serialmon

import (
	"context"
	"fmt"
	"time"
)

const (
	// listenFor is how long one speed is tried: boards print within that of a
	// restart (common practice, no source).
	listenFor = 3 * time.Second
	// listenMost ends a try at a speed that gives nothing but garbage.
	listenMost = 2048
)

// A Guess says at which speed a board prints. With Baud 0 it cannot be told, and
// Why says what kept it from being.
type Guess struct {
	Baud  int
	Score float64 // of the best speed tried, 0 to 1
	Why   string
	Or    int     // another speed that figures read much the same at, 0 for none
	Tried []Trial // in order
}

// A Trial is one speed listened at.
type Trial struct {
	Baud  int
	Bytes int     // heard
	Score float64 // 0 to 1; how it is made is told where it is computed
	Text  bool    // accepted as text
	zeros bool    // nothing but zero bytes
	signs bool    // there are blanks, figures and such in it
}

// LikelySpeeds returns the speeds that LikelySpeed tries, in order: the two most
// used first. 1200 is not among them and never may be: it makes boards with
// native USB leave for their boot loader.
func LikelySpeeds() []int {
	return []int{115200, 9600, 57600, 38400, 19200, 74880, 250000, 230400, 4800, 2400, 1000000, 921600, 500000, 460800, 28800, 14400}
}

// LikelySpeed finds out at which speed the board prints, by restarting it and
// listening at one speed after the other: those given, or LikelySpeeds. What it
// hears goes on record and to the sink like everything else. Afterwards the port
// has the speed it had. A board that prints nothing cannot be told; that is a
// Guess, not an error.
func (s *Session) LikelySpeed(ctx context.Context, speeds ...int) (g Guess, err error) {
	if len(speeds) == 0 {
		speeds = LikelySpeeds()
	}
	before := s.Speed()
	defer func() {
		if back := s.SetSpeed(context.WithoutCancel(ctx), before); err == nil {
			err = back
		}
	}()
	return choose(speeds, func(baud int) (Trial, error) { return s.try(ctx, baud) })
}

// choose tries speeds in turn and takes the first at which text arrives.
func choose(speeds []int, try func(baud int) (Trial, error)) (g Guess, err error) {
	for _, baud := range speeds {
		t, err := try(baud)
		if err != nil {
			return g, err
		}
		g.Tried = append(g.Tried, t)
		if !t.Text {
			continue
		}
		if near := neighbour(baud); near != 0 {
			n, err := try(near)
			if err != nil {
				return g, err
			}
			g.Tried = append(g.Tried, n)
			if n.betterThan(t) {
				t = n
			} else if !t.signs {
				// Letters alone: what figures and the signs between them turn into.
				g.Or = near
			}
		}
		g.Baud, g.Score = t.Baud, t.Score
		g.Why = fmt.Sprintf("whole lines of text at %d baud, score %.2f", t.Baud, t.Score)
		if g.Or != 0 {
			g.Why += fmt.Sprintf("; figures alone can look the same when they are sent at %d", g.Or)
		}
		return g, nil
	}
	return g.undecided(), nil
}

// betterThan reports whether the speed below another is the right one of the two.
// Read too fast, figures turn into letters that look as good as any; read too slowly
// they do not. So a draw speaks for the lower speed.
func (t Trial) betterThan(above Trial) bool { return t.Text && t.Score >= above.Score }

// neighbour is the speed 8 % below one at which digits survive being read 8.5 %
// too fast; 0 for all others.
func neighbour(baud int) int {
	switch baud {
	case 250000:
		return 230400
	case 500000:
		return 460800
	case 1000000:
		return 921600
	}
	return 0
}

// try restarts the board and listens at one speed.
func (s *Session) try(ctx context.Context, baud int) (Trial, error) {
	if err := s.SetSpeed(ctx, baud); err != nil {
		return Trial{}, err
	}
	l := listening{newest: scoreNewest}
	t := &tap{enough: l.enough, alarm: newAlarm(s.opt.Clock, listenFor)}
	defer s.listenIn(nil)
	settled := func() {
		t.restart()
		s.listenIn(t)
	}
	if err := s.reset(ctx, settled); err != nil {
		t.alarm.cancel()
		return Trial{}, err
	}
	if err := t.alarm.wait(ctx); err != nil {
		return Trial{}, err
	}
	return trialOf(baud, t.bytes(), scoreNewest), nil
}

// listening decides how long one speed is listened at.
type listening struct {
	newest int // bytes that are judged at a time
	textAt int // bytes heard when they were text for the first time; 0 when not yet
}

// enough reports whether enough was heard: a second stretch of text behind the first,
// for one alone may come about by chance, or so much garbage that none is to come.
func (l *listening) enough(heard []byte) bool {
	switch {
	case len(heard) >= listenMost:
		return true
	case len(heard) < max(l.textAt, scoreDrop)+l.newest:
		return false
	}
	text := judgeNewest(heard, l.newest).accepted()
	if text && l.textAt > 0 {
		return true
	}
	l.textAt = 0
	if text {
		l.textAt = len(heard)
	}
	return false
}

// trialOf judges what was heard at a speed by its newest bytes.
func trialOf(baud int, heard []byte, newest int) Trial {
	j := judgeNewest(heard, newest)
	return Trial{
		Baud: baud, Bytes: len(heard), Score: j.score, Text: j.accepted(),
		zeros: j.bytes > 0 && j.zeros == j.bytes, signs: j.signs > 0,
	}
}

func (s *Session) listenIn(t *tap) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.tap = t
}

// undecided says what kept the speed from being told.
func (g Guess) undecided() Guess {
	var heard int
	var zeros bool
	var best Trial
	for _, t := range g.Tried {
		heard = max(heard, t.Bytes)
		zeros = zeros || t.zeros
		if t.Bytes >= scoreDrop+scoreLeast && t.Score > best.Score {
			best = t
		}
	}
	g.Score = best.Score
	switch {
	case heard == 0:
		g.Why = "the board printed nothing at any speed"
	case heard < scoreDrop+scoreLeast:
		g.Why = fmt.Sprintf("the board printed at most %d bytes, too few to tell by", heard)
	case best.Score == 0 && zeros:
		g.Why = "nothing but zero bytes: it prints more slowly than any speed tried, or the line is held low"
	default:
		g.Why = fmt.Sprintf("no speed gave text; the best was %d baud, score %.2f", best.Baud, best.Score)
	}
	return g
}
