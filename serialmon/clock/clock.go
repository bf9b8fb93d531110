// Package clock is where a run's time comes from: the real clock, a paced one
// that runs a fixed factor faster, or a simulated one that stands still while
// anything is under way and then jumps to the next timer.
//
// Everything that waits or stamps takes a clock, so the same board, port and
// checklist code runs in a venue, in a practice session and in a test that ends
// at once. Records say by Basis which clock their times rest on.
package clock

import (
	"context"
	"time"
)

// A Basis names what a record's times rest on.
type Basis string

// The three bases.
const (
	BasisReal      Basis = "real"
	BasisPaced     Basis = "paced"
	BasisSimulated Basis = "simulated"
)

// A Clock tells and waits. All three kinds are safe for concurrent use.
//
// The simulated clock moves only while nothing is under way. A goroutine that
// takes part counts as under way from the moment somebody calls Depart(1) for it
// until it calls Land(1); while blocked in Sleep it does not count. Bytes and
// frames on their way count too: who sends n calls Depart(n), who has dealt with
// them calls Land(n). On the real and the paced clock both do nothing.
type Clock interface {
	// Now is the present time in UTC.
	Now() time.Time
	// Sleep returns nil after d, or the context's cause before that. The caller
	// must count as under way.
	Sleep(ctx context.Context, d time.Duration) error
	// AfterFunc calls f once after d. Stop reports whether it kept f from being
	// called. On the simulated clock f runs before time moves on and must not
	// wait for time; on the others it runs in a goroutine of its own.
	AfterFunc(d time.Duration, f func()) (stop func() bool)
	Depart(n int)
	Land(n int)
	Basis() Basis
	// Pace is how many seconds of this clock pass in a real one; 0 for simulated.
	Pace() float64
}
