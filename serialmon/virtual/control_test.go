package virtual_test

import (
	"bufio"
	"context"
	"net"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

func TestDoRefusesBadRequests(t *testing.T) {
	b := newBench(t, virtual.Config{})
	for name, r := range map[string]virtual.Request{
		"no op":            {},
		"unknown op":       {Op: "dance"},
		"unknown role":     {Op: virtual.OpPlace, Role: "ghost"},
		"no tag":           {Op: virtual.OpPlace},
		"two tags":         {Op: virtual.OpPlace, Role: "show", UID: "5C0A91E3"},
		"five-byte uid":    {Op: virtual.OpPlace, UID: "5C0A91E300"},
		"no digits":        {Op: virtual.OpPlace, UID: "5C0A91EX"},
		"behind":           {Op: virtual.OpPlace, Role: "show", SpacingMM: -1},
		"far":              {Op: virtual.OpPlace, Role: "show", SpacingMM: 1001},
		"second reader":    {Op: virtual.OpPlace, Role: "show", Reader: 1},
		"flex, which way":  {Op: virtual.OpFlex},
		"cable, which way": {Op: virtual.OpCable, On: is(true)},
		"usb, which way":   {Op: virtual.OpUSB},
	} {
		if reply, err := b.board.Do(r); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %+v, %v; want an error of one line", name, reply, err)
		}
	}
}

// serveBoard serves a board's control channel and returns its socket.
func serveBoard(t *testing.T, b *virtual.Board) string {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("the control channel is a Unix socket")
	}
	path := filepath.Join(t.TempDir(), "control")
	l, err := net.Listen("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- virtual.ServeControl(ctx, l, b) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("ServeControl: %v", err)
		}
	})
	return path
}

func TestControlChannel(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.pass(4 * time.Second)
	path := serveBoard(t, b.board)
	hands, err := virtual.DialControl(path)
	if err != nil {
		t.Fatal(err)
	}
	defer hands.Close()
	if _, err := hands.Do(virtual.Request{Op: virtual.OpPlace, Role: "master"}); err != nil {
		t.Fatal(err)
	}
	b.pass(time.Second)
	b.want(b.lines(), "master tag 04 A1 B2 C3 D4 E5 F6 is enrolled")
	if _, err := hands.Do(virtual.Request{Op: "dance"}); err == nil {
		t.Error("an unknown op was done")
	}
	if _, err := hands.Do(virtual.Request{Op: virtual.OpTake}); err != nil {
		t.Fatal(err)
	}
	b.pass(2 * time.Second)
	reply, err := hands.Do(virtual.Request{Op: virtual.OpLamps})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"dark", "dark", "lit"}, reply.Lamps); diff != "" {
		t.Errorf("lamps (-want +got):\n%s", diff)
	}
}

func TestControlChannelTakesBadLines(t *testing.T) {
	b := newBench(t, virtual.Config{})
	path := serveBoard(t, b.board)
	for name, tt := range map[string]struct {
		send string
		ends bool // the board hangs up after its reply
	}{
		"no JSON":      {send: "hello\n"},
		"empty line":   {send: "\n"},
		"two requests": {send: `{"op":"take"}{"op":"take"}` + "\n"},
		"unknown name": {send: `{"op":"take","why":1}` + "\n"},
		"too long":     {send: strings.Repeat("x", 65<<10) + "\n", ends: true},
	} {
		c, err := net.Dial("unix", path)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.SetDeadline(time.Now().Add(20 * time.Second)); err != nil {
			t.Fatal(err)
		}
		go c.Write([]byte(tt.send))
		in := bufio.NewReader(c)
		if line, err := in.ReadString('\n'); err != nil || !strings.HasPrefix(line, `{"error":"`) {
			t.Errorf("%s: reply %q, %v; want an error", name, line, err)
		}
		if !tt.ends {
			if _, err := c.Write([]byte(`{"op":"take"}` + "\n")); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			if line, err := in.ReadString('\n'); err != nil || line != "{}\n" {
				t.Errorf("%s: the next request: %q, %v; want it done", name, line, err)
			}
		}
		c.Close()
	}
}

func TestHandsHoldAndLift(t *testing.T) {
	b := newBench(t, virtual.Config{})
	hands := virtual.NewHands(b.board, b.clock)
	b.pass(4 * time.Second)
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Error(err)
		}
	}
	check(hands.Present("master", 0, 0, 700*time.Millisecond))
	b.pass(3 * time.Second)
	held := b.at("tag 04 A1 B2 C3 D4 E5 F6 gone").Sub(b.at("tag 04 A1 B2 C3 D4 E5 F6 on the reader"))
	if held < 600*time.Millisecond || held > 1100*time.Millisecond {
		t.Errorf("on the reader for %v, want about 0.7 s", held)
	}
	check(hands.Place("show", 0, 0))
	b.pass(5 * time.Second)
	b.never(b.lines(), "tag 5C 0A 91 E3 gone")
	check(hands.Take())
	b.pass(time.Second)
	b.want(b.lines(), "tag 5C 0A 91 E3 gone")

	check(hands.Present("ghost", 0, 0, time.Second))
	b.pass(3 * time.Second)
	if err := hands.Take(); err == nil {
		t.Error("what went wrong later was not told")
	}
	check(hands.Take())
}

// On the real clock nothing but the texts' times may differ; this is for the race
// detector as much as for itself.
func TestRealClock(t *testing.T) {
	t.Parallel()
	clk := clock.Paced(epoch, 50)
	line := virtual.NewMemoryLine()
	board, err := virtual.New(virtual.Config{Clock: clk})
	if err != nil {
		t.Fatal(err)
	}
	if err := board.Connect(line); err != nil {
		t.Fatal(err)
	}
	defer board.Close()
	port, err := line.Open("paced", 115200, false)
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	hands := virtual.NewHands(board, clk)
	ctx := closeWithin(t, 30*time.Second)
	var text strings.Builder
	shown := false
	for !strings.Contains(text.String(), "is enrolled\r\n") {
		if ctx.Err() != nil {
			t.Fatalf("not enrolled; the console said:\n%s", text.String())
		}
		buf := make([]byte, 512)
		n, err := port.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		text.Write(buf[:n])
		if !shown && strings.Contains(text.String(), "ready\r\n") {
			shown = true
			if err := hands.Present("master", 0, 0, time.Second); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := hands.Lamps(); err != nil {
			t.Fatal(err)
		}
	}
	if !strings.Contains(text.String(), strings.Join(bootPlain[:15], "\r\n")+"\r\n") {
		t.Errorf("boot text:\n%s", text.String())
	}
}
