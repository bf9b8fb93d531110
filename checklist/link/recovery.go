package link

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

const measureRecovery = "recovery"

// The results of a recovery.
const (
	recoveredNew  = "reconnected"
	recoveredKept = "kept its connection"
	notRecovered  = "not reconnected"
	notWritten    = "reconnected, coil not written"
)

// keptTime is how long a board that noticed nothing of the cable is waited for
// before its old connection is tried. From experience, no source.
const keptTime = 5 * time.Second

// recovery pulls the network cable and sees whether the board comes back by
// itself. What is on record from an earlier attempt is not done again.
func recovery(ctx context.Context, s *checklist.Scene, l limits) (checklist.Finding, error) {
	if done := s.Measures(measureRecovery); len(done) > 0 {
		return recoveryFinding(done[len(done)-1], l), nil
	}
	c := s.Cursor()
	if err := s.Instruct(ctx, checklist.Instruction{Act: checklist.ActCableOut, Text: "Pull the board's network cable."}); err != nil {
		return checklist.Finding{}, err
	}
	lost, noticed, err := s.Await(ctx, c, handsTime, func(e checklist.Entry) bool {
		return isFrame(e, checklist.FrameClosed) || checklist.IsKind(e, parsers.KindLinkDown)
	})
	if err != nil {
		return checklist.Finding{}, err
	}
	// Pulled long enough for the board to give up what it gives up.
	if err := s.Observe(ctx, "network cable out", s.Cursor(), keptTime, nil); err != nil {
		return checklist.Finding{}, err
	}
	back, err := comeBack(ctx, s, l, noticed)
	if err != nil {
		return checklist.Finding{}, err
	}
	m := measureOf(measureRecovery, back.reader, back.shown, lost, back.cable, back.conn)
	m.Value, m.Unit = back.after, "s"
	m.Params["result"] = back.result
	if back.written > 0 {
		m.Params["written_s"] = number(back.written)
	}
	e, err := s.Measure(m)
	return recoveryFinding(e, l), err
}

// A comeback is what followed once the cable was in again.
type comeback struct {
	result      string
	after       float64 // seconds from the cable to the connection, or to giving up
	written     float64 // seconds from the cable to the first good write; 0 for none
	cable, conn checklist.Entry
	reader      checklist.Reader
	shown       shown
}

// comeBack plugs the cable in, waits for the connection and shows the tag once
// more.
func comeBack(ctx context.Context, s *checklist.Scene, l limits, noticed bool) (b comeback, err error) {
	b.reader = readers(s.Item)[0]
	isConn := func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) }
	c := s.Cursor()
	if err := s.Instruct(ctx, checklist.Instruction{Act: checklist.ActCableIn, Text: "Plug the network cable in again."}); err != nil {
		return b, err
	}
	// The time counts from when the cable is in, where the board tells of that.
	since := s.Now()
	first, seen, err := s.Await(ctx, c, handsTime, func(e checklist.Entry) bool { return isConn(e) || checklist.IsKind(e, parsers.KindLinkUp) })
	if err != nil {
		return b, err
	}
	if seen {
		since = first.At
	}
	if seen && isConn(first) {
		b.conn = first
	} else {
		b.cable = first
		within := l.recover
		if !noticed {
			within = keptTime // it may have kept its connection without a word
		}
		if b.conn, _, err = s.Await(ctx, c, since.Add(within).Sub(s.Now()), isConn); err != nil {
			return b, err
		}
	}
	b.after, b.result = s.Now().Sub(since).Seconds(), notRecovered
	if b.conn.N == 0 && noticed {
		return b, nil
	}
	b.shown, err = show(ctx, s, showing{reader: b.reader, several: len(s.Item.Readers) > 1, console: true, onWithin: max(l.off, 2*l.fail), offWithin: l.off})
	if b.shown.on.N != 0 {
		b.written = b.shown.on.Frame.At.Sub(since).Seconds()
	}
	switch {
	case b.shown.result == resultNotRead || b.shown.result == resultCard:
		b.result = b.shown.result
	case b.shown.on.N == 0 && b.conn.N == 0:
		b.after = s.Now().Sub(since).Seconds()
	case b.shown.on.N == 0:
		b.result = notWritten
	case b.conn.N == 0:
		b.result = recoveredKept
	default:
		b.result = recoveredNew
	}
	return b, err
}

func recoveryFinding(e checklist.Entry, l limits) checklist.Finding {
	m := e.Measure
	result := m.Params["result"]
	f := checklist.Finding{
		What: "recovery", How: checklist.Measured, Verdict: checklist.Passed, Rests: append(checklist.RefsOf(e), m.Rests...),
		Limit: ptr(checklist.Number(l.recover.Seconds(), "s", fmt.Sprintf("within %g s of the cable", l.recover.Seconds()))),
		Value: checklist.Number(m.Value, "s", fmt.Sprintf("%s after %.1f s", result, m.Value)),
	}
	written := ""
	if s, err := strconv.ParseFloat(m.Params["written_s"], 64); err == nil {
		written = fmt.Sprintf("first good write after %.1f s", s)
	}
	switch result {
	case recoveredNew:
		if written != "" {
			f.Value.Text += ", " + written
		}
		if m.Value > l.recover.Seconds() {
			f.Verdict = checklist.Failed
		}
	case recoveredKept:
		f.Value = checklist.Text(result)
		if written != "" {
			f.Value.Text += ", " + written
		}
		f.Note = "The board kept its connection through the pull, and the coil was written over it."
	case notRecovered:
		f.Verdict = checklist.Failed
		f.Value.Text = fmt.Sprintf("not reconnected %.0f s after the cable came back", m.Value)
		f.Note = fmt.Sprintf("%.0f s since the cable came back and no connection: after a loose plug or a switch's restart the prop stays dead until somebody resets it.", m.Value)
	case notWritten:
		f.Verdict = checklist.Failed
		f.Note = "The board came back and a tag no longer writes the coil."
	default:
		f.Verdict, f.Value = checklist.NotConfirmed, checklist.Text(result)
		f.Note = "The tag that was to prove the connection was not accepted."
	}
	return f
}
