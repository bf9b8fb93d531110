package serialmon

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// hold is a handle of our own on the port, beside the library's. It carries the
// lock: the library's exclusive mode does not stop the superuser, and then two
// readers share the bytes out among themselves. It must be opened first, since
// afterwards the exclusive mode keeps everyone else out.
type hold struct {
	fd  int
	pty bool
}

// takeHold opens and locks the port without touching its settings, save that with
// noReset closing it will not drop the lines any more.
func takeHold(name string, noReset bool) (*hold, error) {
	// Before opening too: the end of a stranger's terminal that is opened and closed
	// again looks to its other end like a hang-up.
	var st unix.Stat_t
	if unix.Stat(name, &st) == nil && staleLink(name, st) {
		return nil, errStale
	}
	fd, err := openRetry(name)
	if err != nil {
		return nil, err
	}
	h := &hold{fd: fd}
	// From here on the number cannot be given away.
	if err := unix.Fstat(fd, &st); err != nil {
		return nil, errors.Join(err, h.release())
	}
	if staleLink(name, st) {
		return nil, errors.Join(errStale, h.release())
	}
	h.pty = isPty(st)
	// Before the lock: a port that cannot be read is not to be kept from others,
	// and that too many files are open is true whoever holds it.
	if h.crowded() {
		return nil, errors.Join(errCrowded, h.release())
	}
	if err := h.claim(noReset); err != nil {
		return nil, errors.Join(err, h.release())
	}
	return h, nil
}

// path is the name of what is held, whatever a link of that name leads to by now.
func (h *hold) path(name string) string {
	if to, err := os.Readlink(fmt.Sprintf("/proc/self/fd/%d", h.fd)); err == nil {
		return to
	}
	return name
}

func openRetry(name string) (int, error) {
	for {
		fd, err := unix.Open(name, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
		if !errors.Is(err, unix.EINTR) {
			return fd, err
		}
	}
}

func (h *hold) claim(noReset bool) error {
	settings, err := unix.IoctlGetTermios(h.fd, unix.TCGETS)
	if err != nil {
		return unix.ENOTTY
	}
	if err := unix.Flock(h.fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		if errors.Is(err, unix.EWOULDBLOCK) {
			return unix.EBUSY
		}
		return err
	}
	// A pseudo-terminal keeps the mark of a program that was killed for as long as
	// its other end lives, so there it tells nothing (measured on Linux 6.18).
	if !h.pty {
		if excl, err := unix.IoctlGetInt(h.fd, unix.TIOCGEXCL); err == nil && excl != 0 {
			return unix.EBUSY
		}
	}
	if noReset && settings.Cflag&unix.HUPCL != 0 {
		settings.Cflag &^= unix.HUPCL
		return unix.IoctlSetTermios(h.fd, unix.TCSETS, settings)
	}
	return nil
}

// opened is called once the library has the port too. On a pseudo-terminal it
// takes the exclusive mode off again: left behind by a killed run it would lock
// everyone but the superuser out, and our own lock ends with the process.
func (h *hold) opened() {
	if h.pty {
		// Without effect at worst: the lock above is what counts.
		_ = unix.IoctlSetInt(h.fd, unix.TIOCNXCL, 0)
	}
}

// crowded reports whether the library's next three descriptors would lie beyond
// what its select can hold, 1024: then its Read panics.
func (h *hold) crowded() bool {
	const most, needed = 1024, 3
	var taken []int
	defer func() {
		for _, fd := range taken {
			unix.Close(fd)
		}
	}()
	for range needed {
		fd, err := unix.FcntlInt(uintptr(h.fd), unix.F_DUPFD_CLOEXEC, 0)
		if err != nil {
			return true
		}
		taken = append(taken, fd)
		if fd >= most {
			return true
		}
	}
	return false
}

func (h *hold) release() error {
	return unix.Close(h.fd)
}
