package link_test

import (
	"errors"
	"net"
	"strings"
	"testing"

	"propwright/checklist/link"
)

func TestListenRefusesAnAddressThatAnswers(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for name, tt := range map[string]struct{ addr, hint string }{
		"answered":   {addr: taken.Addr().String(), hint: "take the controller off the network"},
		"no port":    {addr: "127.0.0.1", hint: "ADDRESS:PORT"},
		"large port": {addr: "127.0.0.1:70000", hint: "1 to 65535"},
		// 192.0.2.0/24 is for documentation (RFC 5737), so no computer has it.
		"not ours": {addr: "192.0.2.1:1502", hint: "does not have that address"},
	} {
		t.Run(name, func(t *testing.T) {
			l := newLedger()
			s, err := link.Listen(t.Context(), link.Config{Addr: tt.addr, Clock: l, Record: l.record})
			if err == nil {
				t.Fatal(s.Close())
			}
			le, ok := errors.AsType[*link.ListenError](err)
			if !ok || !strings.Contains(le.Hint, tt.hint) || strings.Contains(err.Error(), "\n") {
				t.Errorf("Listen(%q) = %v, hint %q; want a ListenError with a hint of %q", tt.addr, err, le.Hint, tt.hint)
			}
			if name == "answered" && !errors.Is(err, link.ErrAnswered) {
				t.Errorf("Listen = %v; want ErrAnswered", err)
			}
		})
	}
}
