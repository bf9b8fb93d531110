package link_test

import (
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
)

var (
	_ checklist.Check = link.Recovery{}
	_ link.Disturber  = (*link.StandIn)(nil)
)

// What a controller does in the course of a year: restarts, takes a write without an
// answer, ends its connections, 200 times. A board that frees no socket stops after four
// or eight connections (W5100 and W5500 data sheets).
func TestRecoveryShowsWhatDoesNotComeBack(t *testing.T) {
	for name, tt := range map[string]struct {
		change  func(*desk, *checklist.Item)
		verdict checklist.Verdict
		words   []string
	}{
		"restarted":           {verdict: checklist.Passed, words: []string{"controller restarted", "first good write after 4."}},
		"silent":              {verdict: checklist.Passed, words: []string{"does not answer", "first good write after"}},
		"two hundred ends":    {verdict: checklist.Passed, words: []string{"again and again", "200 times, then first good write"}},
		"never dials again":   {change: func(d *desk, _ *checklist.Item) { d.sockets = 1 }, verdict: checklist.Failed, words: []string{"controller restarted", "not back after 30 s"}},
		"waits for ever":      {change: func(d *desk, _ *checklist.Item) { d.hangs = true }, verdict: checklist.Failed, words: []string{"does not answer", "no write"}},
		"eight sockets":       {change: func(d *desk, _ *checklist.Item) { d.sockets = 8 }, verdict: checklist.Failed, words: []string{"back 6 times, then no more", "8 connections"}},
		"only with something": {change: func(d *desk, _ *checklist.Item) { d.lateReturn = true }, verdict: checklist.Failed, words: []string{"controller restarted", "not back"}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o, err := newDesk(t, nil, tt.change).run(t, checklist.Bench, "recovery")
				if err != nil {
					t.Fatal(err)
				}
				f, ok := said(o, tt.words...)
				if !ok || f.Verdict != tt.verdict || o.Verdict != tt.verdict {
					t.Errorf("verdict %q, finding %q; want %q with %q, got %q", o.Verdict, f.Verdict, tt.verdict, tt.words, values(o))
				}
			})
		})
	}
}

// A muted stand-in takes a write and leaves it without an answer, and answers again
// after; a dropped connection is on record, and the next one is taken.
func TestTheStandInCanMisbehave(t *testing.T) {
	s, l := listen(t, func(c *link.Config) { c.AnswerWait = 50 * time.Millisecond })
	conn := dial(t, s.Addr())
	on, off := framed(1, unhex(t, "05 00 AC FF 00")), framed(1, unhex(t, "05 00 AC 00 00"))
	ask(t, conn, on)
	s.Mute(true)
	off[1] = 2
	send(t, conn, off)
	l.await(t, 3)
	if err := s.Drop(); err != nil {
		t.Fatal(err)
	}
	frames := l.await(t, 4)
	if frames[2].Answer != "" || frames[2].Values[0] != 0 || frames[3].Kind != checklist.FrameClosed {
		t.Errorf("on record %+v; want the write without an answer, then the end", frames[2:])
	}
	if !s.Coil(173) {
		t.Error("a muted controller switched its coil")
	}
	s.Mute(false)
	works(t, s.Addr())
}
