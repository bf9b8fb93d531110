package link_test

import (
	"bytes"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
)

// tapBefore puts a tap before a controller.
func tapBefore(t testing.TB, to string, change func(*link.Config)) (*link.Tap, *ledger) {
	t.Helper()
	l := newLedger()
	c := link.Config{Addr: "127.0.0.1:0", Base: 1, Clock: l, Record: l.record}
	if change != nil {
		change(&c)
	}
	tap, err := link.ListenTap(t.Context(), c, to)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := tap.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return tap, l
}

// controller is a scripted one: do gets each connection, for ten seconds at the most.
func controller(t *testing.T, do func(net.Conn)) string {
	t.Helper()
	return serve(t, func(c net.Conn) {
		_ = c.SetDeadline(time.Now().Add(10 * time.Second))
		do(c)
	})
}

// serve listens on loopback until the test ends; do gets each connection.
func serve(t testing.TB, do func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				do(conn)
			}()
		}
	}()
	return l.Addr().String()
}

// The tap changes nothing, whatever it is: what is no frame passes as well, both ways.
func TestTheTapPassesEveryByteOn(t *testing.T) {
	sent := append(framed(1, unhex(t, "05 00 AC FF 00")), []byte("\xff\x00GET / HTTP/1.1\r\n\r\n and 00 01 00 00 00 06")...)
	back := append(framed(1, unhex(t, "05 00 AC FF 00")), bytes.Repeat([]byte{0xA5, 0x00}, 5000)...)
	got := make(chan []byte, 1)
	tap, l := tapBefore(t, controller(t, func(c net.Conn) {
		b := make([]byte, len(sent))
		n, _ := io.ReadFull(c, b)
		got <- b[:n]
		for _, b := range [][]byte{back[:1], back[1:7], back[7:13], back[13:]} {
			_, _ = c.Write(b)
		}
	}), nil)
	conn := dial(t, tap.Addr())
	for _, b := range sent { // a byte at a time
		send(t, conn, []byte{b})
	}
	if b := <-got; !bytes.Equal(b, sent) {
		t.Errorf("the controller got % X\nwant % X", b, sent)
	}
	reply, err := io.ReadAll(conn)
	if !bytes.Equal(reply, back) || err != nil {
		t.Errorf("the board got %d bytes, %v; want the %d that the controller sent", len(reply), err, len(back))
	}
	conn.Close()
	kinds := ""
	for _, f := range l.await(t, 5) {
		kinds += string(f.Kind) + " " + f.Why + "\n"
	}
	for _, want := range []string{"request", "protocol identifier", "from the controller: ", "closed ended by the controller"} {
		if !strings.Contains(kinds, want) {
			t.Errorf("on record:\n%swant %q", kinds, want)
		}
	}
}

// Answers may come in another order than their requests (TCP guide V1.0b, 4.4.1.3: the
// transaction identifier pairs them), or not at all.
func TestAnswersArePairedByTheirTransaction(t *testing.T) {
	frame := func(transaction byte, pdu string) []byte {
		b := framed(1, unhex(t, pdu))
		b[1] = transaction
		return b
	}
	on, off, third := frame(7, "05 00 AC FF 00"), frame(8, "05 00 AD 00 00"), frame(9, "05 00 AE FF 00")
	tap, l := tapBefore(t, controller(t, func(c net.Conn) {
		_, _ = io.ReadFull(c, make([]byte, 36))
		_, _ = c.Write(append(append([]byte(nil), off...), on...))
		_, _ = c.Write(frame(77, "05 00 AC FF 00"))
		_, _ = io.Copy(io.Discard, c)
	}), nil)
	conn := dial(t, tap.Addr())
	send(t, conn, append(append(append([]byte(nil), on...), off...), third...))
	if _, err := io.ReadFull(conn, make([]byte, 36)); err != nil {
		t.Fatal(err)
	}
	conn.Close()
	frames := l.await(t, 6)
	for i, want := range []struct {
		kind       checklist.FrameKind
		address    int
		answer, is string
	}{
		{checklist.FrameConnected, -1, "", ""},
		{checklist.FrameRequest, 173, "ok", ""},
		{checklist.FrameRequest, 172, "ok", ""},
		{checklist.FrameMalformed, -1, "", "an answer to no request"},
		{checklist.FrameRequest, 174, "", ""},
		{checklist.FrameClosed, -1, "", "ended by the client"},
	} {
		if f := frames[i]; f.Kind != want.kind || f.Address != want.address || f.Answer != want.answer || f.Why != want.is {
			t.Errorf("record %d: %+v; want %+v", i, f, want)
		}
	}
	if why := link.Explain(frames[4]); why != "no answer" {
		t.Errorf("Explain says %q of a request that was not answered", why)
	}
}

func TestAControllerThatAcceptsAndIsSilentIsOnRecordInTime(t *testing.T) {
	tap, l := tapBefore(t, controller(t, func(c net.Conn) { _, _ = io.Copy(io.Discard, c) }), func(c *link.Config) { c.AnswerWait = time.Millisecond })
	conn := dial(t, tap.Addr())
	send(t, conn, framed(1, unhex(t, "05 00 AC FF 00")))
	if f := l.await(t, 2)[1]; f.Kind != checklist.FrameRequest || f.Answer != "" || f.Coil != 173 {
		t.Errorf("on record %+v; want the request without an answer, the connection still open", f)
	}
}

func TestAControllerThatIsNotThereIsSaid(t *testing.T) {
	gone, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := gone.Addr().String()
	gone.Close()
	tap, l := tapBefore(t, addr, nil)
	if n, err := dial(t, tap.Addr()).Read(make([]byte, 1)); n != 0 || err == nil {
		t.Errorf("the board reads %d bytes, %v; want the end", n, err)
	}
	if f := l.await(t, 2)[1]; f.Kind != checklist.FrameClosed || !strings.HasPrefix(f.Why, "controller not reached: ") {
		t.Errorf("on record %+v; want closed, and why", f)
	}
}

func TestATapDoesNotPassOnToItself(t *testing.T) {
	l := newLedger()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := free.Addr().String()
	free.Close()
	if tap, err := link.ListenTap(t.Context(), link.Config{Addr: addr, Clock: l, Record: l.record}, addr); !errors.Is(err, link.ErrItself) {
		t.Errorf("ListenTap = %v, %v; want ErrItself", tap, err)
	}
}
