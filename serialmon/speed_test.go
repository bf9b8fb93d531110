package serialmon_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/serialtest"
)

// boardPort is a board that prints the same after each reset, heard through the
// model of a receiver at the speed that was set.
type boardPort struct {
	clock clock.Clock
	says  []serialtest.Sending

	mu     sync.Mutex
	speed  int
	speeds []int
	out    chan []byte
	closed chan struct{}
}

func newBoardPort(c clock.Clock, speed int, says ...serialtest.Sending) *boardPort {
	return &boardPort{clock: c, says: says, speed: speed, out: make(chan []byte, 1), closed: make(chan struct{})}
}

func (p *boardPort) Read(b []byte) (int, error) {
	select {
	case said := <-p.out:
		n := copy(b, said)
		if n < len(said) {
			p.out <- said[n:]
		}
		return n, nil
	case <-p.closed:
		return 0, serialtest.ErrClosed
	}
}

func (p *boardPort) SetSpeed(baud int) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.speed = baud
	p.speeds = append(p.speeds, baud)
	return nil
}

func (p *boardPort) PulseReset(context.Context) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	heard := serialtest.Received(p.speed, p.says...)
	if len(heard) > 0 {
		p.clock.Depart(len(heard))
		p.out <- heard
	}
	return nil
}

func (p *boardPort) Close() error {
	close(p.closed)
	return nil
}

// likely asks for the speed of a board, on a simulated clock.
func likely(t *testing.T, says ...serialtest.Sending) (serialmon.Guess, *boardPort) {
	t.Helper()
	ctx := deadline(t)
	c := clock.Simulated(noon())
	port := newBoardPort(c, 115200, says...)
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: "port-a", Speed: 115200, Clock: c, Sink: &serialtest.Sink{},
		Open: func(string, int, bool) (serialmon.Port, error) { return port, nil },
	})
	must(t, err)
	guess, err := s.LikelySpeed(ctx)
	must(t, err)
	if got := s.Speed(); got != 115200 || port.speed != 115200 {
		t.Errorf("afterwards the speed is %d, set to %d; want 115200 again", got, port.speed)
	}
	must(t, s.Close())
	return guess, port
}

func startText(lines int) []byte {
	var b strings.Builder
	b.WriteString("---- start ----\r\nfirmware larkspur 3.2.0\r\nsetting coil = 117\r\nreader chip version 0x92\r\n")
	for i := range lines {
		fmt.Fprintf(&b, "card 5C 0A 91 %02X accepted\r\n", i*37%256)
	}
	return []byte(b.String())
}

func tableText(lines int) []byte {
	var b strings.Builder
	for i := range lines {
		fmt.Fprintf(&b, "%d,%d,%d\r\n", 1000+i*13, i%20, 900-i*7)
	}
	return []byte(b.String())
}

// The model gives what serial.md's table (h) says of such a receiver: a far slower
// sender gives zero bytes alone; half the speed few values and no line end; a
// third of it fewer still.
func TestReceiverModel(t *testing.T) {
	for _, tt := range []struct {
		sent, read   int
		most         int // distinct values
		lines, zeros bool
	}{
		{9600, 9600, 256, true, false},
		{9600, 115200, 1, false, true},
		{57600, 115200, 16, false, false},
		{38400, 115200, 4, false, false},
	} {
		got := serialtest.Received(tt.read, serialtest.Sending{Text: startText(40), Baud: tt.sent, Pause: 3})
		values := map[byte]bool{}
		for _, b := range got {
			values[b] = true
		}
		if len(got) == 0 || len(values) > tt.most || values['\n'] != tt.lines || tt.zeros != (len(values) == 1 && values[0]) {
			t.Errorf("sent at %d, read at %d: %d bytes, %d values, line end %t; want at most %d values, line end %t",
				tt.sent, tt.read, len(got), len(values), values['\n'], tt.most, tt.lines)
		}
	}
	text := startText(5)
	if got := serialtest.Received(74880, serialtest.Sending{Text: text, Baud: 74880}); !bytes.Equal(got, text) {
		t.Errorf("read at the right speed: %q, want %q", got, text)
	}
}

// R28, R29: each speed of the list is found, with running text and with a table of
// figures, which survives being read 8.5 % too fast.
func TestLikelySpeedFindsEach(t *testing.T) {
	for _, baud := range serialmon.LikelySpeeds() {
		for what, text := range map[string][]byte{"text": startText(30), "table": tableText(60)} {
			t.Run(fmt.Sprintf("%d %s", baud, what), func(t *testing.T) {
				got, port := likely(t, serialtest.Sending{Text: text, Baud: baud, Pause: 3})
				if got.Baud != baud || got.Score < 0.93 || got.Why == "" {
					t.Errorf("guess %+v after speeds %v; want %d", got, port.speeds, baud)
				}
			})
		}
	}
}

// The newest bytes count: a start in another speed, as some chips' own loader
// prints it, is no reason to choose that.
func TestLikelySpeedPassesNoiseAtStart(t *testing.T) {
	loader := bytes.Repeat([]byte("loader: checking image, offset 0x1000\r\n"), 8)[:300]
	got, _ := likely(t,
		serialtest.Sending{Text: loader, Baud: 74880},
		serialtest.Sending{Text: startText(30), Baud: 115200, Pause: 3})
	if got.Baud != 115200 {
		t.Errorf("guess %+v; want 115200", got)
	}
}

// R30: what cannot be told is said to be so, and why.
func TestLikelySpeedCannotTell(t *testing.T) {
	noise := make([]byte, 3000)
	random := rand.New(rand.NewPCG(5, 6))
	for i := range noise {
		noise[i] = byte(random.Uint32())
	}
	for name, tt := range map[string]struct {
		says serialtest.Sending
		why  string
	}{
		"silence":  {serialtest.Sending{Baud: 9600}, "printed nothing"},
		"few":      {serialtest.Sending{Text: []byte("ok\r\nready\r\n"), Baud: 115200}, "too few"},
		"too slow": {serialtest.Sending{Text: startText(10), Baud: 110}, "zero bytes"},
		"binary":   {serialtest.Sending{Text: noise, Baud: 115200}, "no speed gave text"},
	} {
		t.Run(name, func(t *testing.T) {
			got, port := likely(t, tt.says)
			if got.Baud != 0 || !strings.Contains(got.Why, tt.why) {
				t.Errorf("guess %+v; want none, because %q", got, tt.why)
			}
			if len(port.speeds) != len(serialmon.LikelySpeeds())+1 {
				t.Errorf("speeds set %v; want each of the list and the old one", port.speeds)
			}
		})
	}
}
