package link_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/link"
)

// The coil examples of the Application Protocol Specification, 6.1, 6.5 and 6.11,
// as whole frames of modbus_tcp_adu_computed.csv: the answers are the standard's.
func TestTheStandInAnswersAsTheSpecificationHasIt(t *testing.T) {
	adu := map[string][]byte{}
	for _, row := range table(t, "modbus_tcp_adu_computed.csv") {
		adu[row["what"]] = unhex(t, row["adu_hex"])
	}
	s, l := listen(t, nil)
	conn := dial(t, s.Addr())
	for _, tt := range []struct{ request, reply []byte }{
		{adu["FC05 coil 173 on"], adu["FC05 coil 173 on"]},
		{adu["FC05 coil 173 off"], adu["FC05 coil 173 off"]},
		{adu["FC05 coil 1 on"], adu["FC05 coil 1 on"]},
		{adu["FC0F request"], adu["FC0F response"]},
		// Outputs 20 to 38 as 6.1 has them, CD 6B 05, written before they are read.
		{framed(0xFF, unhex(t, "0F 00 13 00 13 03 CD 6B 05")), framed(0xFF, unhex(t, "0F 00 13 00 13"))},
		{adu["FC01 20-38 request"], adu["FC01 20-38 response"]},
		// Figure 11 and 22: a wrong quantity or value is exception 03, an address
		// beyond the end 02, an unknown function 01; 7: function + 0x80.
		{framed(0xFF, unhex(t, "05 00 AC 01 00")), framed(0xFF, unhex(t, "85 03"))},
		{framed(0xFF, unhex(t, "01 FF FF 00 02")), framed(0xFF, unhex(t, "81 02"))},
		{framed(0xFF, unhex(t, "01 FF FF 00 00")), framed(0xFF, unhex(t, "81 03"))},
		{framed(0xFF, unhex(t, "07")), framed(0xFF, unhex(t, "87 01"))},
		{adu["FC05 coil 173 on"], adu["FC05 coil 173 on"]}, // the connection outlives all of these
	} {
		if got := ask(t, conn, tt.request); !bytes.Equal(got, tt.reply) {
			t.Errorf("% X is answered % X; want % X", tt.request, got, tt.reply)
		}
	}
	if !s.Coil(173) || !s.Coil(1) || s.Coil(2) || !s.Coil(20) || s.Coil(21) {
		t.Errorf("coils 173 1 2 20 21 are %t %t %t %t %t; want on on off on off", s.Coil(173), s.Coil(1), s.Coil(2), s.Coil(20), s.Coil(21))
	}
	frames := l.await(t, 12)
	want := checklist.Frame{
		At: stamp, Kind: checklist.FrameRequest, Conn: 1, Peer: conn.LocalAddr().String(), Unit: 255, Function: 5, Address: 172, Coil: 173,
		Values: []int{1}, Answer: "ok", Request: "000100000006FF0500ACFF00", Reply: "000100000006FF0500ACFF00",
		Answered: stamp,
	}
	if diff := cmp.Diff(want, frames[1]); diff != "" {
		t.Errorf("first request (-want +got):\n%s", diff)
	}
	if f := frames[8]; f.Answer != "exception 02" || f.Reply != "000100000003FF8102" || f.Coil != 65536 {
		t.Errorf("request beyond the last coil: %+v; want exception 02", f)
	}
}

func TestConnectionsAndTheirEndsAreOnRecord(t *testing.T) {
	s, l := listen(t, nil)
	conn := dial(t, s.Addr())
	l.await(t, 1)
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	frames := l.await(t, 2)
	peer := conn.LocalAddr().String()
	want := []checklist.Frame{
		{At: stamp, Kind: checklist.FrameConnected, Conn: 1, Peer: peer, Address: -1, Coil: -1},
		{At: stamp, Kind: checklist.FrameClosed, Conn: 1, Peer: peer, Address: -1, Coil: -1, Why: "ended by the client"},
	}
	if diff := cmp.Diff(want, frames); diff != "" {
		t.Errorf("frames (-want +got):\n%s", diff)
	}
}

func TestWhatIsNoFrameIsRecordedAndEndsTheConnection(t *testing.T) {
	s, l := listen(t, nil)
	conn := dial(t, s.Addr())
	send(t, conn, []byte("GET / HTTP/1.1\r\n\r\n"))
	if got, err := io.ReadAll(conn); len(got) != 0 || (err != nil && !strings.Contains(err.Error(), "reset")) {
		t.Errorf("answered %q, %v; want nothing and the end", got, err)
	}
	frames := l.await(t, 3)
	if frames[1].Kind != checklist.FrameMalformed || frames[1].Request != "474554202F2048" || frames[2].Kind != checklist.FrameClosed {
		t.Errorf("frames %+v; want malformed with its bytes, then closed", frames)
	}
	cut := dial(t, s.Addr())
	send(t, cut, unhex(t, "00 01 00 00 00 06 FF 05"))
	if err := cut.Close(); err != nil {
		t.Fatal(err)
	}
	frames = l.await(t, 6)
	if frames[4].Kind != checklist.FrameMalformed || frames[4].Request != "000100000006FF05" {
		t.Errorf("a frame cut short: %+v; want malformed with its bytes", frames[4])
	}
}

func TestAFrameThatCannotBeRecordedIsNotAnswered(t *testing.T) {
	s, l := listen(t, nil)
	conn := dial(t, s.Addr())
	l.await(t, 1)
	l.mu.Lock()
	l.broken = true
	l.mu.Unlock()
	send(t, conn, unhex(t, "00 01 00 00 00 06 FF 05 00 AC FF 00"))
	if got, err := io.ReadAll(conn); len(got) != 0 || err != nil {
		t.Errorf("answered % X, %v; want nothing and the end", got, err)
	}
}

func TestOnlyTheConfiguredUnitIsAnswered(t *testing.T) {
	s, l := listen(t, func(c *link.Config) { c.Unit, c.OnlyUnit = 1, true })
	conn := dial(t, s.Addr())
	send(t, conn, framed(9, unhex(t, "05 00 AC FF 00")))
	want := framed(1, unhex(t, "05 00 AD FF 00"))
	if got := ask(t, conn, want); !bytes.Equal(got, want) {
		t.Errorf("unit 1 is answered % X; want % X", got, want)
	}
	if f := l.all()[1]; f.Unit != 9 || f.Answer != "" || f.Reply != "" || s.Coil(173) {
		t.Errorf("unit 9: %+v; want it recorded, unanswered and without effect", f)
	}
}

func TestNoMoreConnectionsThanAllowed(t *testing.T) {
	s, l := listen(t, func(c *link.Config) { c.MaxConns = 2 })
	request := unhex(t, "00 01 00 00 00 06 FF 05 00 AC FF 00")
	ask(t, dial(t, s.Addr()), request)
	ask(t, dial(t, s.Addr()), request)
	if n, err := dial(t, s.Addr()).Read(make([]byte, 1)); n != 0 || err == nil {
		t.Errorf("the third connection gives %d bytes, %v; want its end", n, err)
	}
	for _, f := range l.all() {
		if f.Conn > 2 {
			t.Errorf("recorded %+v of a connection that was turned away", f)
		}
	}
}

func TestASilentConnectionIsEnded(t *testing.T) {
	s, l := listen(t, func(c *link.Config) { c.MaxSilence = time.Millisecond })
	conn := dial(t, s.Addr())
	if n, err := conn.Read(make([]byte, 1)); n != 0 || !errors.Is(err, io.EOF) {
		t.Errorf("a silent connection gives %d bytes, %v; want its end", n, err)
	}
	if f := l.await(t, 2)[1]; f.Kind != checklist.FrameClosed {
		t.Errorf("recorded %+v; want closed", f)
	}
}

func TestTheContextEndsTheStandIn(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	l := newLedger()
	s, err := link.Listen(ctx, link.Config{Addr: "127.0.0.1:0", Clock: l, Record: l.record})
	if err != nil {
		t.Fatal(err)
	}
	conn := dial(t, s.Addr())
	l.await(t, 1)
	cancel()
	if _, err := conn.Read(make([]byte, 1)); err == nil {
		t.Error("the connection outlived the context")
	}
	if err := s.Close(); err != nil {
		t.Errorf("Close after that: %v", err)
	}
}
