package serialmon

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"go.bug.st/serial"
)

// A Reason says why a port could not be opened.
type Reason string

// The reasons.
const (
	ReasonMissing     Reason = "no such port"
	ReasonPermission  Reason = "no permission"
	ReasonBusy        Reason = "in use by another program"
	ReasonNotSerial   Reason = "not a serial port"
	ReasonSpeed       Reason = "speed out of range"
	ReasonDescriptors Reason = "too many files are open"
	ReasonOther       Reason = "cannot be opened"
)

// An OpenError reports a port that could not be opened: which, why, and what a
// person may try.
type OpenError struct {
	Name   string
	Reason Reason
	Detail string // what more there is to say of the reason, or ""
	Hint   string // what to try, or ""
	Err    error  // the system's own word, or nil
}

// Error is one line, without the hint.
func (e *OpenError) Error() string {
	if e.Detail == "" {
		return fmt.Sprintf("port %q: %s", e.Name, e.Reason)
	}
	return fmt.Sprintf("port %q: %s, %s", e.Name, e.Reason, e.Detail)
}

// Unwrap is the system's own error, or nil.
func (e *OpenError) Unwrap() error { return e.Err }

// CheckSpeed returns an *OpenError for a speed outside MinSpeed to MaxSpeed.
func CheckSpeed(name string, baud int) error {
	if baud >= MinSpeed && baud <= MaxSpeed {
		return nil
	}
	return &OpenError{
		Name: name, Reason: ReasonSpeed,
		Detail: fmt.Sprintf("%d baud, must be %d to %d", baud, MinSpeed, MaxSpeed),
		Hint:   "give the speed that the firmware was built with, often 115200 or 9600",
	}
}

// openError sorts an error of opening by its cause. The library's own error hides
// what it wraps, and for a missing path on Unix it is not used at all.
func openError(name string, err error) *OpenError {
	e := &OpenError{Name: name, Reason: ReasonOther, Err: err}
	code := serial.PortErrorCode(-1)
	if pe, ok := errors.AsType[*serial.PortError](err); ok {
		code = pe.Code()
	}
	switch {
	case errors.Is(err, fs.ErrNotExist) || code == serial.PortNotFound:
		e.Reason = ReasonMissing
		e.Hint = "see `propwright ports`, plug the board in, or check the name"
	case errors.Is(err, fs.ErrPermission) || code == serial.PermissionDenied:
		e.Reason = ReasonPermission
		e.Hint = "ask for access to the port"
		if group := groupOf(name); group != "" {
			e.Detail = fmt.Sprintf("it belongs to group %q", group)
			e.Hint = joinGroup(group)
		}
	case errors.Is(err, syscall.EBUSY) || code == serial.PortBusy:
		e.Reason = ReasonBusy
		e.Hint = "close the other program, such as a console window or an upload"
	case errors.Is(err, syscall.EMFILE) || errors.Is(err, syscall.ENFILE):
		e.Reason = ReasonDescriptors
		e.Hint = "close some of what this program has open"
	case errors.Is(err, syscall.ENOTTY) || errors.Is(err, syscall.EISDIR) ||
		errors.Is(err, syscall.EINVAL) || code == serial.InvalidSerialPort:
		e.Reason = ReasonNotSerial
		e.Hint = "see `propwright ports` for the serial ports here"
	default:
		e.Detail = err.Error()
		e.Hint = "unplug the board and plug it in again"
	}
	return e
}

// joinGroup says how to be allowed to open a port of a group. The superuser's own is
// none to join: a rule has to give the port to another.
func joinGroup(group string) string {
	if group == "root" || group == "wheel" {
		return `a udev rule that gives the port to a group of yours, such as SUBSYSTEM=="tty", KERNEL=="ttyUSB*", GROUP="dialout", MODE="0660"`
	}
	return fmt.Sprintf("join group %q and log in again", group)
}
