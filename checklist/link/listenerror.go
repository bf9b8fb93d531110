package link

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"strconv"
	"syscall"
	"time"
)

// ErrAnswered says that something already answers at an address.
var ErrAnswered = errors.New("something already answers there")

// A ListenError reports an address that the stand-in cannot take.
type ListenError struct {
	Addr string
	Hint string // what to try, "" when there is nothing to say
	Err  error
}

func (e *ListenError) Error() string { return fmt.Sprintf("listen %q: %v", e.Addr, e.Err) }

// Unwrap returns the reason.
func (e *ListenError) Unwrap() error { return e.Err }

// answerTime is how long an address may take to answer before it counts as free.
const answerTime = time.Second

// listen takes the address unless something answers on it.
func listen(ctx context.Context, addr string) (net.Listener, error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, &ListenError{Addr: addr, Hint: "give ADDRESS:PORT, such as 127.0.0.1:1502", Err: reason(err)}
	}
	if number, err := strconv.ParseUint(port, 10, 16); err != nil {
		return nil, &ListenError{Addr: addr, Hint: "give a port from 1 to 65535; Modbus TCP has 502", Err: fmt.Errorf("port %q: not a number from 0 to 65535", port)}
	} else if number != 0 && answers(ctx, host, port) {
		return nil, &ListenError{
			Addr: addr, Err: ErrAnswered,
			Hint: "a controller or another program has this address; take the controller off the network, end the program, or give another --listen",
		}
	}
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", addr)
	if err != nil {
		return nil, &ListenError{Addr: addr, Hint: hint(err, port), Err: reason(err)}
	}
	return l, nil
}

// answers reports whether a connection to the address is taken.
func answers(ctx context.Context, host, port string) bool {
	if ip := net.ParseIP(host); host == "" || (ip != nil && ip.IsUnspecified()) {
		host = "127.0.0.1"
	}
	dialer := net.Dialer{Timeout: answerTime}
	conn, err := dialer.DialContext(ctx, "tcp", net.JoinHostPort(host, port))
	if err != nil {
		return false
	}
	_ = conn.Close() // nothing was sent, so nothing can be lost
	return true
}

// reason takes off what the message already says.
func reason(err error) error {
	if op, ok := errors.AsType[*net.OpError](err); ok && op.Err != nil {
		err = op.Err
	}
	if sys, ok := errors.AsType[syscall.Errno](err); ok {
		return sys
	}
	if a, ok := errors.AsType[*net.AddrError](err); ok {
		return errors.New(a.Err)
	}
	return err
}

// Numbers of Windows sockets, where package syscall has its own inventions for
// the POSIX names.
const (
	winAddrInUse    = syscall.Errno(10048)
	winAddrNotAvail = syscall.Errno(10049)
)

func hint(err error, port string) string {
	number, _ := strconv.Atoi(port)
	switch {
	case errors.Is(err, syscall.EADDRINUSE) || errors.Is(err, winAddrInUse):
		return "another program has this port; end it or give another --listen"
	case errors.Is(err, syscall.EADDRNOTAVAIL) || errors.Is(err, winAddrNotAvail):
		return "this computer does not have that address; propwright bench PROP says which network card to give it to, and how"
	case errors.Is(err, fs.ErrPermission) && number < 1024:
		return "ports below 1024 need a privilege; on Linux: sysctl net.ipv4.ip_unprivileged_port_start=502, or give --listen a port from 1024 on"
	case errors.Is(err, fs.ErrPermission):
		return "the system forbids it; look at its firewall"
	}
	return ""
}
