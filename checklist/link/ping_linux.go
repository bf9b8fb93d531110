package link

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// pingWait is how long a reply is waited for: far more than a site's network takes.
const pingWait = time.Second

// Ping asks a host for an echo (RFC 792) and returns how long the reply took; ok is false
// where none came within a second. It fails with ErrNoPing where the user may not: a
// system lets everybody (ping(7) ping_group_range), root alone, or nobody.
func Ping(ctx context.Context, host netip.Addr) (took time.Duration, ok bool, err error) {
	if !host.Is4() {
		return 0, false, fmt.Errorf("ping %v: %w: it is no IPv4 address", host, ErrNoPing)
	}
	header := 0 // of IP, before what is received
	s, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, unix.IPPROTO_ICMP)
	if err != nil {
		header = 20
		s, err = unix.Socket(unix.AF_INET, unix.SOCK_RAW|unix.SOCK_CLOEXEC, unix.IPPROTO_ICMP)
	}
	if err != nil {
		return 0, false, fmt.Errorf("%w: %w", ErrNoPing, err)
	}
	defer unix.Close(s)
	const look = 50 * time.Millisecond // how soon a cancelled context is seen
	limit := unix.NsecToTimeval(look.Nanoseconds())
	if err := unix.SetsockoptTimeval(s, unix.SOL_SOCKET, unix.SO_RCVTIMEO, &limit); err != nil {
		return 0, false, fmt.Errorf("ping: %w", err)
	}
	const seq = 1
	began := time.Now()
	if err := unix.Sendto(s, echoRequest(uint16(os.Getpid()), seq), 0, &unix.SockaddrInet4{Addr: host.As4()}); err != nil {
		return 0, false, nil // no way to the host is no reply
	}
	buf := make([]byte, 1500)
	for time.Since(began) < pingWait {
		if ctx.Err() != nil {
			return 0, false, context.Cause(ctx)
		}
		n, from, err := unix.Recvfrom(s, buf, 0)
		switch {
		case errors.Is(err, unix.EAGAIN), errors.Is(err, unix.EINTR):
			continue
		case err != nil:
			return 0, false, nil // as when a router says that there is no such host
		}
		sender, is4 := from.(*unix.SockaddrInet4)
		if is4 && sender.Addr == host.As4() && n > header && echoed(buf[header:n], seq) {
			return time.Since(began), true, nil
		}
	}
	return 0, false, nil
}
