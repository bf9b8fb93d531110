package checklist

import (
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
	return s.settle(ctx, "", usualSilence(s.Log.Entries(0), s.Now()))
}

// SettleWatching is Settle with the longest silence, where what the board does
// not say at its start is itself the evidence; what names that.
func (s *Scene) SettleWatching(ctx context.Context, what string) error {
	return s.settle(ctx, what, settleQuiet)
}

func (s *Scene) settle(ctx context.Context, what string, quiet time.Duration) error {
	until := s.Now().Add(settleMost)
	c := s.Cursor()
	for s.Now().Before(until) {
		_, more, err := s.await(ctx, what, c, quiet, func(e Entry) bool { return e.Event != nil })
		if err != nil || !more {
			return err
		}
	}
	return nil
}

// usualSilence is half as long again as the longest silence within any start on record, where one
// of them was watched to its end; before that nothing is known and it is
// settleQuiet.
func usualSilence(entries []Entry, now time.Time) time.Duration {
	var longest time.Duration
	var last time.Time // text of the start that is being read; zero when none is
	whole := false
	over := func(now time.Time) bool { return !last.IsZero() && now.Sub(last) >= textOver }
	for _, e := range entries {
		boot := IsKind(e, parsers.KindBoot)
		switch {
		case e.Instruct == nil && !hasText(e):
			continue
		case over(e.At):
			whole, last = true, time.Time{}
		case e.Instruct != nil:
			last = time.Time{} // what comes now may be hands
		case !last.IsZero() && !boot: // before a boot somebody pressed reset
			longest = max(longest, e.At.Sub(last))
		}
		if boot || (!last.IsZero() && hasText(e)) {
			last = e.At
		}
	}
	if !whole && !over(now) {
		return settleQuiet
	}
	return min(max(longest+longest/2, settleLeast), settleQuiet)
}
