package link_test

import (
	"bytes"
	"errors"
	"io"
	"net"
	"testing"

	"propwright/checklist"
	"propwright/checklist/link"
)

func TestPauseIsAControllerThatIsOff(t *testing.T) {
	s, l := listen(t, nil)
	conn := dial(t, s.Addr())
	l.await(t, 1)
	if err := s.Pause(); err != nil {
		t.Fatal(err)
	}
	if frames := l.all(); len(frames) != 2 || frames[1].Kind != checklist.FrameClosed {
		t.Errorf("after Pause %+v; want the end on record", frames)
	}
	if n, err := conn.Read(make([]byte, 1)); n != 0 || !errors.Is(err, io.EOF) {
		t.Errorf("the connection gives %d bytes, %v; want its end", n, err)
	}
	if c, err := net.Dial("tcp", s.Addr()); err == nil {
		_ = c.Close()
		t.Error("it answers while paused")
	}
	for range 2 { // twice is no error
		if err := s.Resume(); err != nil {
			t.Fatal(err)
		}
	}
	request := unhex(t, "00 01 00 00 00 06 FF 05 00 AC FF 00")
	if got := ask(t, dial(t, s.Addr()), request); !bytes.Equal(got, request) {
		t.Errorf("after Resume answered % X; want % X", got, request)
	}
}

// The virtual board counts a connection, a request and its own end of a
// connection as under way each, also where the stand-in ended it first. Many
// rounds, since the stand-in's end may meet its reader at any point.
func TestCountedFramesAreCountedOffOnceEach(t *testing.T) {
	s, l := listen(t, func(c *link.Config) { c.CountFrames = true })
	request := unhex(t, "00 01 00 00 00 06 FF 05 00 AC FF 00")
	conn := dial(t, s.Addr())
	ask(t, conn, request)
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	want := 3
	landed(t, l, want)
	for range 100 {
		conn = dial(t, s.Addr())
		ask(t, conn, request)
		landed(t, l, want+2)
		if err := s.Pause(); err != nil {
			t.Fatal(err)
		}
		send(t, conn, request) // by a board that has not noticed yet
		if err := conn.Close(); err != nil {
			t.Fatal(err)
		}
		want += 4
		landed(t, l, want)
		if err := s.Resume(); err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range l.all() {
		if f.Kind == checklist.FrameRequest && f.Answer != "ok" {
			t.Errorf("recorded %+v; want nothing of the request that came while off", f)
		}
	}
	if n := len(l.all()); n != 3+100*3 {
		t.Errorf("%d frames on record; want connected, request and closed of each of 101 connections", n)
	}
}
