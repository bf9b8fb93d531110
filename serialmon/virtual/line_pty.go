//go:build linux || darwin

package virtual

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"propwright/serialmon"
)

const (
	lookOften  = time.Millisecond     // for a host that opens, in lock step
	lookSeldom = 5 * time.Millisecond // otherwise
	lookOpen   = 50 * time.Millisecond
	// drainLimit bounds the wait for a host to read what it has before a device goes.
	drainLimit = time.Second
)

// A PtyLine is a Line over a pseudo-terminal: a host opens a real device path. The
// board's side sees from the master's end when hosts open and close the path and
// which speed they set. Pseudo-terminals have no control lines, so every opening
// restarts the board.
//
// It was tried on Linux; that macOS tells of openings in the same way is from memory.
type PtyLine struct {
	alias string

	mu       sync.Mutex
	edges    Edges
	closely  bool
	fd       int    // master; -1 while unplugged
	path     string // of the slave
	open     bool   // a host has it open, as far as noticed
	handling bool   // a change is being dealt with
	stop     chan struct{}
	stopped  chan struct{}

	plugs   int  // counts Plugs; a host's end of an earlier one does not count
	counted bool // the host's end was opened through Opener
	written int  // bytes taken since Plug
	read    int  // and read by a host through Opener
	reading int  // Reads under way there
}

// NewPtyLine makes a line with nothing plugged in. With an alias a symbolic link of
// that path points to the device while one is plugged in.
func NewPtyLine(alias string) (*PtyLine, error) { return &PtyLine{alias: alias, fd: -1}, nil }

// Path is where hosts open the line: the alias, else the device's own path, which
// is another after each Plug and empty while there is none.
func (l *PtyLine) Path() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.alias != "" {
		return l.alias
	}
	return l.path
}

// Write passes bytes on while a host has the device open.
func (l *PtyLine) Write(b []byte) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd < 0 || !l.open || l.handling {
		return 0
	}
	n, err := unix.Write(l.fd, b)
	if err != nil {
		n = 0 // full: a UART drops as well
	}
	l.written += n
	return n
}

// HostSpeed is the speed that the host has set.
func (l *PtyLine) HostSpeed() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd < 0 || !l.open {
		return 0
	}
	return lineSpeed(l.fd)
}

// Watch sets what is called when the host's end changes.
func (l *PtyLine) Watch(e Edges, closely bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.edges, l.closely = e, closely
	return nil
}

// Plug makes a new pseudo-terminal.
func (l *PtyLine) Plug() error {
	fd, path, err := openPty()
	if err != nil {
		return fmt.Errorf("pseudo-terminal: %w", err)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd >= 0 {
		unix.Close(fd)
		return nil
	}
	if l.alias != "" {
		if err := linkTo(path, l.alias); err != nil {
			unix.Close(fd)
			return err
		}
	}
	l.fd, l.path, l.open, l.counted, l.written, l.read, l.reading = fd, path, false, false, 0, 0, 0
	l.plugs++
	l.stop, l.stopped = make(chan struct{}), make(chan struct{})
	go l.watch(fd, l.stop, l.stopped)
	return nil
}

// linkTo makes or replaces a symbolic link, but nothing else that is there.
func linkTo(path, alias string) error {
	if info, err := os.Lstat(alias); err == nil && info.Mode()&os.ModeSymlink == 0 {
		return fmt.Errorf("alias %q: there is something that is no link", alias)
	}
	fresh := fmt.Sprintf("%s.%d", alias, os.Getpid())
	if err := os.Symlink(path, fresh); err != nil {
		return fmt.Errorf("alias: %w", err)
	}
	if err := os.Rename(fresh, alias); err != nil {
		return errors.Join(fmt.Errorf("alias: %w", err), os.Remove(fresh))
	}
	return nil
}

// Unplug takes the device away: a host that has it open sees the line hang up. What
// it has not read is lost then, so it is given a moment to read.
func (l *PtyLine) Unplug() error {
	l.mu.Lock()
	if l.fd < 0 {
		l.mu.Unlock()
		return nil
	}
	stop, stopped := l.stop, l.stopped
	l.mu.Unlock()
	close(stop)
	<-stopped
	l.drained(context.Background())
	l.mu.Lock()
	err := unix.Close(l.fd)
	was, lost, path := l.open, l.unread(), l.path
	l.fd, l.path, l.open = -1, "", false
	closed := l.edges.Closed
	l.mu.Unlock()
	if l.alias != "" {
		if to, readErr := os.Readlink(l.alias); readErr == nil && to == path {
			err = errors.Join(err, os.Remove(l.alias))
		}
	}
	if was {
		closed(lost)
	}
	return err
}

// unread is how many bytes a host that counts has not read.
func (l *PtyLine) unread() int {
	if !l.counted {
		return 0
	}
	return l.written - l.read
}

// drained waits until a host that counts has read everything, for a while.
func (l *PtyLine) drained(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, drainLimit)
	defer cancel()
	l.until(ctx, func() bool { return !l.open || l.unread() == 0 })
}

// until looks every millisecond, with the line locked, until ok.
func (l *PtyLine) until(ctx context.Context, ok func() bool) error {
	tick := time.NewTicker(lookOften)
	defer tick.Stop()
	for {
		l.mu.Lock()
		is := ok()
		l.mu.Unlock()
		if is {
			return nil
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// Noticed waits until the last opening or closing has been dealt with.
func (l *PtyLine) Noticed(ctx context.Context) error {
	return l.until(ctx, func() bool {
		return l.fd < 0 || !l.handling && l.open == hostHasOpen(l.fd)
	})
}

// Close takes the device away for good.
func (l *PtyLine) Close() error { return l.Unplug() }

// Opener counts what a host in this process reads, so that bytes that it leaves
// unread when it closes do not count as under way for ever. On a simulated clock
// the host must open through it.
func (l *PtyLine) Opener(next serialmon.Opener) serialmon.Opener {
	return func(name string, speed int, noReset bool) (serialmon.Port, error) {
		p, err := next(name, speed, noReset)
		if err != nil {
			return nil, err
		}
		l.mu.Lock()
		defer l.mu.Unlock()
		l.counted = true
		return &countedPort{Port: p, line: l, plug: l.plugs}, nil
	}
}

// countedPort counts what is read from the device that it was opened for.
type countedPort struct {
	serialmon.Port
	line *PtyLine
	plug int // the one that it belongs to
}

func (p *countedPort) Read(b []byte) (int, error) {
	p.count(1, 0)
	n, err := p.Port.Read(b)
	p.count(-1, n)
	return n, err
}

func (p *countedPort) count(reading, read int) {
	p.line.mu.Lock()
	defer p.line.mu.Unlock()
	if p.line.plugs == p.plug {
		p.line.reading += reading
		p.line.read += read
	}
}
