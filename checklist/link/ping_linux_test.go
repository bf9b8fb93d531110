package link_test

import (
	"errors"
	"net/netip"
	"os"
	"testing"

	"propwright/checklist/link"
)

// The computer's own address answers wherever a ping is allowed at all.
func TestPing(t *testing.T) {
	_, ok, err := link.Ping(t.Context(), netip.MustParseAddr("127.0.0.1"))
	if errors.Is(err, link.ErrNoPing) && os.Getuid() != 0 {
		t.Skipf("this system lets nobody ping: %v", err)
	}
	if err != nil || !ok {
		t.Errorf("ok %t, %v", ok, err)
	}
	if _, ok, err := link.Ping(t.Context(), netip.MustParseAddr("::1")); ok || !errors.Is(err, link.ErrNoPing) {
		t.Errorf("IPv6: ok %t, %v", ok, err)
	}
}
