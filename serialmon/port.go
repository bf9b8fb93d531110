package serialmon

import (
	"context"
	"errors"
)

// A Port is an open serial line, as far as listening needs one. Close may be
// called while a Read is under way and must end it; the other methods are called
// by one goroutine at a time, which may be another than the reading one.
type Port interface {
	// Read waits a short while for bytes. It returns 0 and no error when none
	// came: that is silence, not the end. Any error is the end of the line.
	Read(p []byte) (int, error)
	// SetSpeed changes the speed of the open line, in baud.
	SetSpeed(baud int) error
	// PulseReset restarts the board through the port's control lines, or returns
	// ErrNoLines where there are none.
	PulseReset(ctx context.Context) error
	// Close lets the line go.
	Close() error
}

// An Opener opens a port. With noReset it does what the system allows to keep the
// opening from restarting the board. Its errors are of type *OpenError where the
// cause is known.
type Opener func(name string, speed int, noReset bool) (Port, error)

// ErrNoLines says that a port has no control lines to reset a board with, as is
// so with a pseudo-terminal.
var ErrNoLines = errors.New("no control lines")

// ErrLost says that the port is away at the moment, or went away meanwhile.
var ErrLost = errors.New("port lost")

// The speeds that OpenSerial accepts, in baud. The driver would take any number,
// even a negative one, and say nothing.
const (
	MinSpeed = 50
	MaxSpeed = 4_000_000
)

// touchSpeed is where boards with native USB take the opening and closing of
// their port as the order to start their boot loader (common practice, no source).
// It is used when asked for by that number and never tried.
const touchSpeed = 1200

// SpeedWarning is what to tell a person before a port is opened at that speed; it
// is empty for most speeds.
func SpeedWarning(baud int) string {
	if baud == touchSpeed {
		return "opening and closing a port at 1200 baud starts the boot loader of many boards with native USB"
	}
	return ""
}
