package serialtest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
	"golang.org/x/term"

	"propwright/serialmon"
)

// relayLook is how often a relay looks whether its host has opened or closed it.
const relayLook = 2 * time.Millisecond

// Relay puts itself between a board's pseudo-terminal and whoever opens the path
// that it returns. Each byte of the board passes through flip with its number from
// 0 on. Opening, closing and speed are passed on to the board, so that one that
// restarts when it is opened still does. The line hangs up when the board's does.
// stop ends the relay and returns the first thing that went wrong in it.
func Relay(ctx context.Context, boardPath string, flip func(i int64, b byte) byte) (path string, stop func() error, err error) {
	master, host, err := pty.Open()
	if err != nil {
		return "", nil, fmt.Errorf("relay: %w", err)
	}
	path = host.Name()
	_, err = term.MakeRaw(int(host.Fd()))
	if err := errors.Join(err, host.Close()); err != nil {
		return "", nil, errors.Join(err, master.Close())
	}
	ctx, cancel := context.WithCancel(ctx)
	r := &relay{master: master, board: boardPath, flip: flip}
	ended := make(chan error, 1)
	go func() { ended <- r.run(ctx) }()
	stop = sync.OnceValue(func() error {
		cancel()
		return <-ended
	})
	return path, stop, nil
}

type relay struct {
	master *os.File
	board  string
	flip   func(int64, byte) byte
	passed int64
}

// run follows the host's openings and closings until ctx or the board ends.
func (r *relay) run(ctx context.Context) (err error) {
	defer func() { err = errors.Join(err, r.master.Close()) }()
	look := time.NewTicker(relayLook)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-look.C:
		}
		open, _, err := r.state()
		if err != nil {
			return err
		}
		if !open {
			continue
		}
		if lost, err := r.pass(ctx, look.C); lost || err != nil {
			return err
		}
	}
}

// pass opens the board and passes its bytes on for as long as the host has the
// relay open. lost says that the board hung up.
func (r *relay) pass(ctx context.Context, look <-chan time.Time) (lost bool, err error) {
	_, speed, err := r.state()
	if err != nil {
		return false, err
	}
	port, err := serialmon.OpenSerial(r.board, speed, false)
	if err != nil {
		return false, fmt.Errorf("relay: %w", err)
	}
	ended := make(chan error, 1)
	go func() { ended <- r.copy(port) }()
	for {
		select {
		case <-ctx.Done():
		case err := <-ended:
			return true, errors.Join(err, port.Close())
		case <-look:
			open, now, err := r.state()
			if err == nil && open && now != speed {
				speed, err = now, port.SetSpeed(now)
			}
			if err == nil && open {
				continue
			}
			if err != nil {
				return false, errors.Join(err, port.Close())
			}
		}
		err := port.Close()
		<-ended
		return false, err
	}
}

// copy passes bytes on until the board's line ends; that is no error.
func (r *relay) copy(port serialmon.Port) error {
	buf := make([]byte, 4096)
	for {
		n, err := port.Read(buf)
		for i := range buf[:n] {
			buf[i] = r.flip(r.passed, buf[i])
			r.passed++
		}
		if _, err := r.master.Write(buf[:n]); err != nil {
			return fmt.Errorf("relay: %w", err)
		}
		if err != nil {
			return nil
		}
	}
}

// state tells whether the host has the relay open, and at which speed.
func (r *relay) state() (open bool, speed int, err error) {
	conn, err := r.master.SyscallConn()
	if err != nil {
		return false, 0, fmt.Errorf("relay: %w", err)
	}
	var inner error
	err = conn.Control(func(fd uintptr) {
		watch := []unix.PollFd{{Fd: int32(fd)}}
		// The runtime's own signals interrupt a poll, which tells nothing of the line.
		for inner = unix.EINTR; errors.Is(inner, unix.EINTR); {
			_, inner = unix.Poll(watch, 0)
		}
		if inner != nil {
			return
		}
		open = watch[0].Revents&unix.POLLHUP == 0
		var t *unix.Termios
		if t, inner = unix.IoctlGetTermios(int(fd), unix.TCGETS2); inner == nil {
			speed = int(t.Ospeed)
		}
	})
	if err := errors.Join(err, inner); err != nil {
		return false, 0, fmt.Errorf("relay: %w", err)
	}
	return open, speed, nil
}
