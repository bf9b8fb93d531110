package checklisttest

import (
	"context"
	"time"
)

// Clock is package time as a checklist.Clock. In a synctest bubble it stands
// still while anything runs. It is safe for concurrent use.
type Clock struct{}

// Now is the present time in UTC.
func (Clock) Now() time.Time { return time.Now().UTC() }

// AfterFunc calls f in a goroutine of its own after d.
func (Clock) AfterFunc(d time.Duration, f func()) (stop func() bool) {
	return time.AfterFunc(d, f).Stop
}

// Sleep returns nil after d, or the context's cause before that.
func (Clock) Sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// Depart does nothing.
func (Clock) Depart(int) {}

// Land does nothing.
func (Clock) Land(int) {}
