package link

import (
	"bytes"
	"net"
	"testing"
	"time"
)

// The port behind the tap is open to every program of the computer, so what does
// not come through the tap must not reach a coil: it would be on no record.
func TestTheServerBehindAnswersTheTapOnly(t *testing.T) {
	s, err := startServer(1, time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	defer s.stop()
	request := []byte{0, 1, 0, 0, 0, 6, 1, 5, 0, 116, 0xFF, 0}
	ask := func(conn net.Conn) []byte {
		t.Helper()
		if err := conn.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
			t.Fatal(err)
		}
		if _, err := conn.Write(request); err != nil {
			t.Fatal(err)
		}
		reply, err := ReadADU(conn)
		if err != nil {
			t.Fatal(err)
		}
		return reply
	}
	foreign, err := net.Dial("tcp", s.addr)
	if err != nil {
		t.Fatal(err)
	}
	defer foreign.Close()
	if got := answerOf(ask(foreign)); got != "exception 01" || s.coil(116) {
		t.Errorf("another program is answered %q, coil on %t; want exception 01 and off", got, s.coil(116))
	}
	ours, err := s.dial()
	if err != nil {
		t.Fatal(err)
	}
	defer s.hangUp(ours)
	if got := ask(ours); !bytes.Equal(got, request) || !s.coil(116) {
		t.Errorf("the tap is answered % X, coil on %t; want the request and on", got, s.coil(116))
	}
}
