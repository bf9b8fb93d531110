package link

import (
	"context"
	"strconv"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// isFrame reports whether the entry is a frame of that kind.
func isFrame(e checklist.Entry, kind checklist.FrameKind) bool {
	return e.Frame != nil && e.Frame.Kind == kind
}

// written is the value that an entry writes to one coil, or to the first of
// several; ok is false when it writes none. A write that was refused counts: the
// board meant it.
func written(e checklist.Entry) (coil int, on, ok bool) {
	f := e.Frame
	if !isFrame(e, checklist.FrameRequest) || (f.Function != writeCoil && f.Function != writeCoils) || f.Coil < 0 || len(f.Values) == 0 {
		return 0, false, false
	}
	return f.Coil, f.Values[0] == 1, true
}

// connected returns the entries of the connections that are open as far as the
// log tells. A new process of the run had a new stand-in, and a board that
// restarted has lost its sockets, whether or not the other side has noticed:
// nothing from before is open.
func connected(entries []checklist.Entry) []checklist.Entry {
	var open []checklist.Entry
	for _, e := range entries {
		switch {
		case e.Type == checklist.EntryRun || checklist.IsKind(e, parsers.KindBoot):
			open = nil
		case isFrame(e, checklist.FrameConnected):
			open = append(open, e)
		case isFrame(e, checklist.FrameClosed):
			kept := open[:0:0]
			for _, o := range open {
				if o.Frame.Conn != e.Frame.Conn {
					kept = append(kept, o)
				}
			}
			open = kept
		}
	}
	return open
}

// awaitConnection returns an open connection, waiting for a new one where there
// is none.
func awaitConnection(ctx context.Context, s *checklist.Scene, within time.Duration) (checklist.Entry, bool, error) {
	c := s.Cursor()
	if open := connected(s.Log.Entries(0)); len(open) > 0 {
		return open[len(open)-1], true, nil
	}
	return s.Await(ctx, c, within, func(e checklist.Entry) bool { return isFrame(e, checklist.FrameConnected) })
}

// number prints a figure for a measurement's parameters.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// seconds prints a time for people.
func seconds(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) + " s" }
