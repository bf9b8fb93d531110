//go:build !linux

package link

import (
	"context"
	"net/netip"
	"time"
)

// Ping is possible on Linux only.
func Ping(context.Context, netip.Addr) (took time.Duration, ok bool, err error) {
	return 0, false, ErrNoPing
}
