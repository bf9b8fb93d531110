package link_test

import (
	"context"
	"io"
	"net"
	"net/netip"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"propwright/checklist/link"
)

// A coil is read at controllers that were not written here, and its state is theirs; a
// read writes nothing.
func TestTheCoilIsReadAtAnotherController(t *testing.T) {
	for _, library := range []string{"libmodbus", "pymodbus"} {
		t.Run(library, func(t *testing.T) {
			addr := peerController(t, library)
			probe := link.CoilProbe{Addr: addr, Unit: 1, Address: 172}
			if p, on := probe.Read(t.Context()); p.Result != link.ProbeOK || on {
				t.Errorf("before: %+v, on %t; want ok and off", p, on)
			}
			conn := dial(t, addr)
			ask(t, conn, framed(1, unhex(t, "05 00 AC FF 00")))
			conn.Close()
			for range 2 {
				if p, on := probe.Read(t.Context()); p.Result != link.ProbeOK || !on {
					t.Errorf("after: %+v, on %t; want ok and on", p, on)
				}
			}
			// libmodbus has 1000 coils here, pymodbus 2000: beyond them exception 02 is
			// due (Application Protocol V1.1b3, figure 11), while address 0 can be read.
			p, _ := link.CoilProbe{Addr: addr, Unit: 1, Address: 5000}.Read(t.Context())
			if p.Result != link.ProbeRefuses || !strings.Contains(strings.Join(p.Evidence, "\n"), "address 5000: exception 02") {
				t.Errorf("a coil that it does not have: %+v; want refused with exception 02 among the evidence", p)
			}
		})
	}
}

func TestWhatControllersDoInsteadOfAnswering(t *testing.T) {
	gone, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	shut := gone.Addr().String()
	gone.Close()
	late := func(c net.Conn) {
		request := make([]byte, 12)
		if _, err := io.ReadFull(c, request); err != nil {
			return
		}
		<-time.After(600 * time.Millisecond) // a controller that is slow
		_, _ = c.Write(append(request[:4:4], 0, 4, request[6], 1, 1, 1))
	}
	units := func(c net.Conn) { // answers unit 255 only, as the TCP guide has it (4.4.1.2)
		request := make([]byte, 12)
		for {
			if _, err := io.ReadFull(c, request); err != nil {
				return
			}
			if request[6] == 0xFF {
				_, _ = c.Write(append(request[:4:4], 0, 4, request[6], 1, 1, 1))
			}
		}
	}
	for name, tt := range map[string]struct {
		addr, want, evidence string
	}{
		"port shut":            {shut, link.ProbeRefused, "connect: "},
		"accepted, closed":     {controller(t, func(c net.Conn) { _, _ = c.Read(make([]byte, 1)) }), link.ProbeClosed, "connection closed"},
		"accepted, silent":     {controller(t, func(c net.Conn) { _, _ = io.Copy(io.Discard, c) }), link.ProbeSilent, "unit 0, function 01, address 116: no answer"},
		"slow":                 {controller(t, late), link.ProbeSlow, "ok after 6"},
		"another unit than 1":  {controller(t, units), link.ProbeOK, "unit 255, function 01, address 116: ok"},
		"refuses the function": {controller(t, func(c net.Conn) { refuse(c, 1) }), link.ProbeRefuses, "function 02, address 0: exception 01 (illegal function)"},
	} {
		t.Run(name, func(t *testing.T) {
			wait := 200 * time.Millisecond
			if tt.want == link.ProbeSlow {
				wait = 10 * time.Second
			}
			p, _ := link.CoilProbe{Addr: tt.addr, Unit: 1, Address: 116, Wait: wait}.Read(t.Context())
			if p.Result != tt.want || !strings.Contains(strings.Join(p.Evidence, "\n"), tt.evidence) {
				t.Errorf("%+v; want %q with %q", p, tt.want, tt.evidence)
			}
		})
	}
}

// refuse answers each request with an exception.
func refuse(c net.Conn, code byte) {
	request := make([]byte, 12)
	for {
		if _, err := io.ReadFull(c, request); err != nil {
			return
		}
		_, _ = c.Write(append(request[:4:4], 0, 3, request[6], request[7]|0x80, code))
	}
}

// A shield takes as many connections as it has sockets (W5100 data sheet: 4, W5500: 8)
// and refuses the next one; another number is no sign of that.
func TestSocketsAreCounted(t *testing.T) {
	for sockets, want := range map[int]string{4: link.ProbeSockets, 8: link.ProbeSockets, 3: link.ProbeRefused, 20: link.ProbeOK} {
		free := sockets
		dial := func(ctx context.Context, addr string) (net.Conn, error) {
			if free--; free < 0 {
				return nil, &net.OpError{Op: "dial", Err: syscall.ECONNREFUSED}
			}
			return (&net.Dialer{}).DialContext(ctx, "tcp", addr)
		}
		at := controller(t, func(c net.Conn) { _, _ = io.Copy(io.Discard, c) })
		ping := func(context.Context, netip.Addr) (time.Duration, bool, error) {
			return 700 * time.Microsecond, true, nil
		}
		p := link.ProbeSocketsAt(t.Context(), dial, ping, at)
		if p.Result != want {
			t.Errorf("%d sockets: %+v; want %q", sockets, p, want)
		}
		if answered := slices.Contains(p.Evidence, "ping: answered after 0.7 ms"); answered != (want != link.ProbeOK) {
			t.Errorf("%d sockets: evidence %q; want the ping where a connection was turned away", sockets, p.Evidence)
		}
	}
}

// Two owners of one address, and one MAC address at two (RFC 5227: who else answers for
// an address has it too).
func TestWhatARPAnswersMean(t *testing.T) {
	const a, b = "02:54:57:00:00:57", "02:54:57:00:00:58"
	for name, tt := range map[string]struct {
		owners link.Owners
		want   []string
	}{
		"nobody":         {link.Owners{}, []string{link.ProbeOK}},
		"one":            {link.Owners{"10.77.0.57": {a}, "10.77.0.58": {b}}, []string{link.ProbeOK}},
		"two":            {link.Owners{"10.77.0.57": {a, b}, "10.77.0.58": {b}}, []string{link.ProbeTwice}},
		"one for two":    {link.Owners{"10.77.0.57": {a}, "10.77.0.58": {a}}, []string{link.ProbeOK, link.ProbeTwice}},
		"only another's": {link.Owners{"10.77.0.58": {a}}, []string{link.ProbeOK}},
	} {
		var got []string
		for _, p := range tt.owners.Judge("eth0", "10.77.0.57", []string{"10.77.0.58"}) {
			got = append(got, p.Result)
		}
		if strings.Join(got, ", ") != strings.Join(tt.want, ", ") {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
	}
}
