package link_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/link"
)

// ledger is a stand-in's clock and record: it stamps all frames alike, keeps them
// and counts what is counted off.
type ledger struct {
	mu     sync.Mutex
	frames []checklist.Frame
	landed int
	broken bool
	more   chan struct{} // gets one for each frame
}

func newLedger() *ledger { return &ledger{more: make(chan struct{}, 1000)} }

var stamp = time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)

func (*ledger) Now() time.Time { return stamp }

func (l *ledger) Land(n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.landed += n
}

func (l *ledger) count() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.landed
}

func (l *ledger) record(f checklist.Frame) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.broken {
		return errors.New("no space left")
	}
	l.frames = append(l.frames, f)
	l.more <- struct{}{}
	return nil
}

func (l *ledger) all() []checklist.Frame {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]checklist.Frame(nil), l.frames...)
}

// await returns once there are n frames.
func (l *ledger) await(t *testing.T, n int) []checklist.Frame {
	t.Helper()
	limit := time.After(10 * time.Second)
	for len(l.all()) < n {
		select {
		case <-l.more:
		case <-limit:
			t.Fatalf("%d frames within 10 s, want %d: %+v", len(l.all()), n, l.all())
		}
	}
	return l.all()
}

func listen(t *testing.T, change func(*link.Config)) (*link.StandIn, *ledger) {
	t.Helper()
	l := newLedger()
	c := link.Config{Addr: "127.0.0.1:0", Base: 1, Clock: l, Record: l.record}
	if change != nil {
		change(&c)
	}
	s, err := link.Listen(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s, l
}

func dial(t *testing.T, addr string) net.Conn {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	if err := conn.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	return conn
}

func send(t *testing.T, conn net.Conn, adu []byte) {
	t.Helper()
	if _, err := conn.Write(adu); err != nil {
		t.Fatal(err)
	}
}

func ask(t *testing.T, conn net.Conn, adu []byte) []byte {
	t.Helper()
	send(t, conn, adu)
	reply, err := link.ReadADU(conn)
	if err != nil {
		t.Fatalf("reply to % X: %v", adu, err)
	}
	return reply
}

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
		{At: stamp, Kind: checklist.FrameClosed, Conn: 1, Peer: peer, Address: -1, Coil: -1},
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
// connection as under way each, also where the stand-in ended it first.
func TestCountedFramesAreCountedOffOnceEach(t *testing.T) {
	s, l := listen(t, func(c *link.Config) { c.CountFrames = true })
	request := unhex(t, "00 01 00 00 00 06 FF 05 00 AC FF 00")
	conn := dial(t, s.Addr())
	ask(t, conn, request)
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	landed(t, l, 3)
	conn = dial(t, s.Addr())
	ask(t, conn, request)
	landed(t, l, 5)
	if err := s.Pause(); err != nil {
		t.Fatal(err)
	}
	send(t, conn, request) // by a board that has not noticed yet
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	landed(t, l, 7)
	for _, f := range l.all() {
		if f.Kind == checklist.FrameRequest && f.Answer != "ok" {
			t.Errorf("recorded %+v; want nothing of the request that came while off", f)
		}
	}
}

// landed waits until n are counted off, and sees that no more are.
func landed(t *testing.T, l *ledger, n int) {
	t.Helper()
	limit := time.Now().Add(10 * time.Second)
	for l.count() < n && time.Now().Before(limit) {
		runtime.Gosched()
	}
	if got := l.count(); got != n {
		t.Fatalf("%d counted off; want %d", got, n)
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

// mbpoll (Debian package mbpoll) is a Modbus client that was not written here.
func TestMbpollWritesAndReadsCoils(t *testing.T) {
	program, err := exec.LookPath("mbpoll")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the Debian package mbpoll is not installed")
		}
		t.Skip("the Debian package mbpoll is not installed")
	}
	s, l := listen(t, nil)
	_, port, err := net.SplitHostPort(s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) string {
		t.Helper()
		args = append([]string{"-m", "tcp", "-p", port, "-a", "1", "-t", "0", "-1"}, args...)
		out, err := exec.CommandContext(t.Context(), program, args...).CombinedOutput()
		if err != nil {
			t.Fatalf("mbpoll %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	run("-r", "117", "127.0.0.1", "1")
	if !s.Coil(117) || s.Coil(118) || s.Coil(116) {
		t.Errorf("after mbpoll wrote reference 117, coils 116 to 118 are %t %t %t", s.Coil(116), s.Coil(117), s.Coil(118))
	}
	if out := run("-r", "116", "-c", "3", "127.0.0.1"); !strings.Contains(out, "[117]: \t1") || !strings.Contains(out, "[118]: \t0") {
		t.Errorf("mbpoll reads:\n%s\nwant 117 on and 118 off", out)
	}
	run("-r", "117", "127.0.0.1", "0", "1")
	var writes []string
	for _, f := range l.all() {
		if f.Function == 5 || f.Function == 15 {
			writes = append(writes, strconv.Itoa(f.Function)+" "+strconv.Itoa(f.Coil)+" "+f.Answer)
			if f.Unit != 1 || f.Address != 116 {
				t.Errorf("recorded %+v; want unit 1, address 116", f)
			}
		}
	}
	if diff := cmp.Diff([]string{"5 117 ok", "15 117 ok"}, writes); diff != "" || !s.Coil(118) {
		t.Errorf("writes (-want +got), coil 118 %t:\n%s", s.Coil(118), diff)
	}
}
