package serialmon

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync/atomic"
	"syscall"
	"time"

	"go.bug.st/serial"
)

const (
	// readTimeout bounds one Read. It is set once, before the first Read: a change
	// during one is a data race in the library.
	readTimeout = 100 * time.Millisecond
	// resetPulse is how long the control line stays off (common practice, no source).
	resetPulse = 100 * time.Millisecond
)

var (
	// errCrowded is of a hold whose descriptors the library could not read with.
	errCrowded = errors.New("too many files are open")
	// errStale is of a link that a program left behind as it ended: the number of its
	// pseudo-terminal has been given to somebody else since.
	errStale = errors.New("the link is older than the terminal that it leads to")
)

// OpenSerial opens a serial port of the system for listening at 8N1. It refuses
// speeds outside MinSpeed to MaxSpeed and a port that another program holds, for
// the superuser too. Its errors are of type *OpenError.
//
// Opening raises the control lines, which restarts many boards and is what boards
// with native USB wait for. With noReset the lines are left as they are where the
// system allows; the first opening after plugging in may still restart the board
// on Linux and macOS.
func OpenSerial(name string, speed int, noReset bool) (Port, error) {
	if err := CheckSpeed(name, speed); err != nil {
		return nil, err
	}
	h, err := takeHold(name, noReset)
	if errors.Is(err, errCrowded) {
		return nil, &OpenError{
			Name: name, Reason: ReasonDescriptors,
			Hint: "close some of what this program has open, or open the port first",
		}
	}
	if errors.Is(err, errStale) {
		return nil, &OpenError{
			Name: name, Reason: ReasonMissing, Detail: errStale.Error(), Err: err,
			Hint: "start the program that made the link again, or give the terminal's own name",
		}
	}
	if err != nil {
		return nil, openError(name, err)
	}
	port, err := openLine(h.path(name), speed, noReset)
	if err != nil {
		h.release()
		return nil, openError(name, err)
	}
	h.opened()
	if err := port.SetReadTimeout(readTimeout); err != nil {
		port.Close()
		h.release()
		return nil, openError(name, err)
	}
	return &serialPort{port: port, hold: h, name: name}, nil
}

// openLine opens through the library. Where lines can be set in one go with the
// rest (Windows), noReset asks for both off, equal, as boards with two transistors
// between the lines and the reset need it; a port without lines is then tried
// again without.
func openLine(name string, speed int, noReset bool) (serial.Port, error) {
	mode := lineMode(speed)
	if noReset && runtime.GOOS == "windows" {
		mode.InitialStatusBits = &serial.ModemOutputBits{}
		port, err := serial.Open(name, mode)
		if pe, ok := errors.AsType[*serial.PortError](err); !ok || pe.Code() != serial.InvalidSerialPort {
			return port, err
		}
		mode.InitialStatusBits = nil
	}
	return serial.Open(name, mode)
}

func lineMode(speed int) *serial.Mode { return &serial.Mode{BaudRate: speed, DataBits: 8} }

// serialPort is a Port of the system.
type serialPort struct {
	port   serial.Port
	hold   *hold
	name   string
	closed atomic.Bool
}

func (p *serialPort) Read(b []byte) (int, error) { return p.port.Read(b) }

func (p *serialPort) SetSpeed(baud int) error {
	if err := CheckSpeed(p.name, baud); err != nil {
		return err
	}
	if p.closed.Load() {
		return fmt.Errorf("port %q: %w", p.name, ErrLost)
	}
	if err := p.port.SetMode(lineMode(baud)); err != nil {
		return fmt.Errorf("port %q: set %d baud: %w", p.name, baud, err)
	}
	return nil
}

// PulseReset takes the line DTR away for a moment. Boards with a capacitor between
// it and their reset restart as it comes back; boards with two transistors between
// DTR, RTS and reset are held in reset meanwhile, since RTS stays on (common
// practice, no source). A board with native USB may not mind at all.
func (p *serialPort) PulseReset(ctx context.Context) error {
	if p.closed.Load() {
		return fmt.Errorf("port %q: %w", p.name, ErrLost)
	}
	if err := p.port.SetDTR(false); err != nil {
		if errors.Is(err, syscall.ENOTTY) || errors.Is(err, syscall.EINVAL) {
			return ErrNoLines
		}
		return fmt.Errorf("port %q: reset line: %w", p.name, err)
	}
	t := time.NewTimer(resetPulse)
	defer t.Stop()
	var ended error
	select {
	case <-t.C:
	case <-ctx.Done():
		ended = context.Cause(ctx)
	}
	// Even when told to stop: a line left off keeps some boards in reset.
	if err := p.port.SetDTR(true); err != nil {
		return fmt.Errorf("port %q: reset line: %w", p.name, err)
	}
	return ended
}

func (p *serialPort) Close() error {
	if p.closed.Swap(true) {
		return nil
	}
	return errors.Join(p.port.Close(), p.hold.release())
}
