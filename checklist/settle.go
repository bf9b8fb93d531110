package checklist

import (
	"bytes"
	"context"
	"time"

	"propwright/parsers"
)

// From experience with boards that wait for their network at start; no source.
const (
	bootWithin  = 10 * time.Second
	settleQuiet = 2 * time.Second // no board was seen to fall silent for longer within its start
	settleLeast = 500 * time.Millisecond
	settleMost  = 20 * time.Second
	// textOver is a silence that ends a start for certain: longer than settleQuiet
	// by what a line may wait that is left open.
	textOver = 3 * time.Second
)

// Settle waits until the console has been quiet for a while, as it is once the
// boot text is through, but no longer than a bound. How long a while is follows
// from the starts that the run has watched already.
func (s *Scene) Settle(ctx context.Context) error {
	return s.settle(ctx, "", func() time.Duration { return silenceAfter(s.Log.Entries(0), s.Now()) })
}

// SettleWatching is Settle with the longest silence, where what the board does
// not say at its start is itself the evidence; what names that.
func (s *Scene) SettleWatching(ctx context.Context, what string) error {
	return s.settle(ctx, what, func() time.Duration { return settleQuiet })
}

func (s *Scene) settle(ctx context.Context, what string, quiet func() time.Duration) error {
	until := s.Now().Add(settleMost)
	c := s.Cursor()
	for s.Now().Before(until) {
		_, more, err := s.await(ctx, what, c, quiet(), func(e Entry) bool { return e.Event != nil })
		if err != nil || !more {
			return err
		}
	}
	return nil
}

// A start is the text of one start of the board, as far as it is read.
type start struct {
	lines [][]byte
	last  time.Time
}

// ends reports whether the text has come to the line with which another start
// ended, as often as it came there.
func (s start) ends(other start) bool {
	if len(other.lines) == 0 {
		return false
	}
	ending := other.lines[len(other.lines)-1]
	return s.count(ending) >= other.count(ending)
}

func (s start) count(line []byte) (n int) {
	for _, l := range s.lines {
		if bytes.Equal(l, line) {
			n++
		}
	}
	return n
}

// silenceAfter is how long a silence now means that the start is over. Before any
// start was watched to its end that is settleQuiet. Later it is half as long again
// as the longest silence within any start, and settleLeast once the line has come
// with which the last whole one ended.
func silenceAfter(entries []Entry, now time.Time) time.Duration {
	var longest time.Duration
	var whole, at start
	watched := false
	rest := func(t time.Time) { // nothing came until t
		silent := t.Sub(at.last)
		watched = watched || len(at.lines) > 0 && silent >= textOver
		if len(at.lines) > 0 && silent >= settleQuiet {
			whole, at = at, start{}
		}
	}
	for _, e := range entries {
		boot := IsKind(e, parsers.KindBoot)
		switch {
		case e.Instruct != nil:
			rest(e.At)
			at = start{} // what comes now may be hands
			continue
		case !hasText(e):
			continue
		}
		if len(at.lines) > 0 && e.At.Sub(at.last) >= textOver {
			rest(e.At)
		}
		if boot {
			rest(e.At)
			at = start{} // cut short by a reset, unless it was over
		} else if len(at.lines) > 0 {
			longest = max(longest, e.At.Sub(at.last))
		}
		if boot || len(at.lines) > 0 {
			at.lines, at.last = append(at.lines, e.Event.Raw), e.At
		}
	}
	present := at
	rest(now)
	switch {
	case !watched:
		return settleQuiet
	case present.ends(whole):
		return settleLeast
	}
	return min(max(longest+longest/2, settleLeast), settleQuiet)
}
