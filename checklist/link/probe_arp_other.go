//go:build !linux

package link

import (
	"context"
	"fmt"
	"net/netip"
	"runtime"
)

// Ask fails with ErrNoARP: no way is known that needs no further program.
func (p ARPProbe) Ask(context.Context, []netip.Addr) (Owners, error) {
	return nil, fmt.Errorf("%w: on %s; compare the system's own table, arp -a, before and after the board is unplugged", ErrNoARP, runtime.GOOS)
}
