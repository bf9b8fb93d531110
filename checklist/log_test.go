package checklist_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
)

// bubbleClock is package time, which a synctest bubble fakes.
type bubbleClock struct{}

func (bubbleClock) Now() time.Time { return time.Now().UTC() }
func (bubbleClock) AfterFunc(d time.Duration, f func()) (stop func() bool) {
	return time.AfterFunc(d, f).Stop
}
func (bubbleClock) Depart(int) {}
func (bubbleClock) Land(int)   {}
func (bubbleClock) Sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d):
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// memory keeps entries, and breaks from entry failAt on.
type memory struct {
	kept   []checklist.Entry
	failAt int
}

var errDisk = errors.New("no space left")

func (m *memory) Keep(e checklist.Entry) error {
	if m.failAt > 0 && len(m.kept)+1 >= m.failAt {
		return errDisk
	}
	m.kept = append(m.kept, e)
	return nil
}

func (*memory) Sync() error { return nil }

func note(text string) checklist.Entry {
	return checklist.Entry{Type: checklist.EntryNote, Note: text}
}

func TestCursorsReadTheSameEntriesEachAtItsOwnPlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := checklist.NewLog(bubbleClock{}, &memory{}, nil)
		a, b := checklist.CursorAt(0), checklist.CursorAt(0)
		for _, text := range []string{"one", "two"} {
			if _, err := l.Append(note(text)); err != nil {
				t.Fatal(err)
			}
		}
		for _, c := range []*checklist.Cursor{a, b} {
			for i, want := range []string{"one", "two"} {
				e, ok, err := c.Next(t.Context(), l, time.Now())
				if err != nil || !ok || e.Note != want || e.N != int64(i+1) {
					t.Errorf("Next = %d %q, %t, %v; want %d %q", e.N, e.Note, ok, err, i+1, want)
				}
			}
		}
	})
}

func TestNextWaitsForAnEntryButNoLongerThanAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := checklist.NewLog(bubbleClock{}, &memory{}, nil)
		c := checklist.CursorAt(0)
		start := time.Now()
		if _, ok, err := c.Next(t.Context(), l, start.Add(90*time.Second)); ok || err != nil || time.Since(start) != 90*time.Second {
			t.Errorf("with no entry: ok %t, %v after %v; want false after exactly 1m30s", ok, err, time.Since(start))
		}
		start = time.Now()
		time.AfterFunc(time.Second, func() { _, _ = l.Append(note("late")) })
		e, ok, err := c.Next(t.Context(), l, start.Add(time.Minute))
		if err != nil || !ok || e.Note != "late" || time.Since(start) != time.Second {
			t.Errorf("Next = %q, %t, %v after %v; want late after 1s", e.Note, ok, err, time.Since(start))
		}
	})
}

func TestAnEntryThatCannotBeKeptIsNotInTheLog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := checklist.NewLog(bubbleClock{}, &memory{failAt: 2}, nil)
		if _, err := l.Append(note("kept")); err != nil {
			t.Fatal(err)
		}
		if _, err := l.Append(note("lost")); !errors.Is(err, errDisk) {
			t.Errorf("Append = %v, want the disk's error", err)
		}
		if n := l.Len(); n != 1 {
			t.Errorf("Len = %d, want 1", n)
		}
		if _, err := l.Append(note("after")); !errors.Is(err, checklist.ErrLogClosed) {
			t.Errorf("a later Append = %v, want ErrLogClosed", err)
		}
		if _, _, err := checklist.CursorAt(1).Next(t.Context(), l, time.Now().Add(time.Hour)); !errors.Is(err, checklist.ErrLogClosed) {
			t.Errorf("Next = %v, want ErrLogClosed at once", err)
		}
	})
}

func TestAWaitEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := checklist.NewLog(bubbleClock{}, &memory{}, nil)
		ctx, cancel := context.WithCancelCause(t.Context())
		why := errors.New("person pressed stop")
		time.AfterFunc(time.Second, func() { cancel(why) })
		if _, _, err := checklist.CursorAt(0).Next(ctx, l, time.Now().Add(time.Hour)); !errors.Is(err, why) {
			t.Errorf("Next = %v, want %v", err, why)
		}
	})
}
