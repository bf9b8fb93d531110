//go:build linux || darwin

package virtual

import (
	"context"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// openPty makes a pseudo-terminal that passes bytes on as they are. The master is a
// bare descriptor that never blocks; the slave is closed again, so that the master
// tells of hosts.
func openPty() (fd int, path string, err error) {
	master, slave, err := pty.Open()
	if err != nil {
		return -1, "", err
	}
	defer master.Close()
	defer slave.Close()
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		return -1, "", err
	}
	fd, err = unix.FcntlInt(master.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return -1, "", err
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		unix.Close(fd)
		return -1, "", err
	}
	return fd, slave.Name(), nil
}

// hostHasOpen reports whether anybody has the slave open: the master's hang-up is
// there as long as nobody has.
func hostHasOpen(fd int) bool {
	p := []unix.PollFd{{Fd: int32(fd)}}
	for {
		_, err := unix.Poll(p, 0)
		if err == unix.EINTR {
			continue
		}
		return err == nil && p[0].Revents&unix.POLLHUP == 0
	}
}

// watch tells of openings and closings until stop, and throws away what hosts send:
// the firmware listens to nobody.
func (l *PtyLine) watch(fd int, stop <-chan struct{}, stopped chan<- struct{}) {
	defer close(stopped)
	every := lookSeldom
	if l.closely {
		every = lookOften
	}
	for open := false; ; {
		wait := every
		if open {
			wait = waitForChange(fd)
		}
		if wait > 0 {
			t := time.NewTimer(wait)
			select {
			case <-stop:
				t.Stop()
				return
			case <-t.C:
			}
		}
		select {
		case <-stop:
			return
		default:
		}
		if is := hostHasOpen(fd); is != open {
			open = is
			l.change(fd, is)
		}
	}
}

// waitForChange returns when a host has closed, has sent something, or after a
// while; in each case how long to wait before looking again.
func waitForChange(fd int) time.Duration {
	p := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
	if _, err := unix.Poll(p, int(lookOpen/time.Millisecond)); err != nil {
		return lookOften
	}
	if p[0].Revents&unix.POLLIN != 0 {
		var waste [4096]byte
		if _, err := unix.Read(fd, waste[:]); err != nil {
			return lookOften
		}
	}
	return 0
}

// change deals with an opening or a closing.
func (l *PtyLine) change(fd int, open bool) {
	l.mu.Lock()
	l.handling = true
	edges, path := l.edges, l.path
	l.mu.Unlock()
	lost := 0
	if open {
		edges.Opened()
	} else {
		lost = l.flush(path)
		edges.Closed(lost)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.handling, l.open = false, open
	l.read += lost
}

// flush empties the device after a host has closed it, as the driver of a real
// port does, so that the next host finds nothing old. It returns how many bytes the
// host had left, if that counts.
func (l *PtyLine) flush(path string) int {
	ctx, cancel := context.WithTimeout(context.Background(), drainLimit)
	defer cancel()
	if l.until(ctx, func() bool { return l.reading == 0 }) != nil {
		return 0 // a host that hangs in a Read will count it
	}
	l.mu.Lock()
	lost, counted := l.unread(), l.counted
	l.mu.Unlock()
	slave, err := unix.Open(path, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return lost
	}
	defer unix.Close(slave)
	var waste [4096]byte
	took := 0
	// What was written is on its way through the kernel for a moment.
	l.until(ctx, func() bool {
		n, err := unix.Read(slave, waste[:])
		if err == nil && n > 0 {
			took += n
			return counted && took >= lost
		}
		return err != unix.EINTR && (!counted || took >= lost)
	})
	return lost
}
