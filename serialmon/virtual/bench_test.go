package virtual_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

var epoch = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// A bench is a board on a simulated clock, a host that listens on a memory line,
// and a controller that keeps what it is asked.
type bench struct {
	t     *testing.T
	clock *clock.Sim
	board *virtual.Board
	line  *virtual.MemoryLine
	port  serialmon.Port
	desk  *desk

	mu    sync.Mutex
	heard []byte
	times []time.Time // one a byte
}

// newBench switches a board on; its host opens at speed.
func newBench(t *testing.T, cfg virtual.Config) *bench {
	t.Helper()
	return newBenchAt(t, cfg, 115200)
}

func newBenchAt(t *testing.T, cfg virtual.Config, speed int) *bench {
	t.Helper()
	b := &bench{t: t, clock: clock.Simulated(epoch), line: virtual.NewMemoryLine()}
	b.desk = newDesk(t, b.clock)
	cfg.Clock, cfg.CountFrames = b.clock, true
	if cfg.Controller == "" {
		cfg.Controller = b.desk.listener.Addr().String()
	}
	var err error
	if b.board, err = virtual.New(cfg); err != nil {
		t.Fatal(err)
	}
	if err := b.board.Connect(b.line); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.board.Close() })
	b.open(speed)
	return b
}

func (b *bench) open(speed int) {
	b.t.Helper()
	port, err := b.line.Open("bench", speed, false)
	if err != nil {
		b.t.Fatal(err)
	}
	b.port = port
	go b.listen(port)
}

func (b *bench) listen(port serialmon.Port) {
	buf := make([]byte, 4096)
	for {
		n, err := port.Read(buf)
		if err != nil {
			return
		}
		now := b.clock.Now()
		b.mu.Lock()
		b.heard = append(b.heard, buf[:n]...)
		for range n {
			b.times = append(b.times, now)
		}
		b.mu.Unlock()
		b.clock.Land(n)
	}
}

// pass lets time pass.
func (b *bench) pass(d time.Duration) {
	b.t.Helper()
	if err := b.clock.Sleep(b.t.Context(), d); err != nil {
		b.t.Fatal(err)
	}
}

// lines are what the console has said so far.
func (b *bench) lines() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	text := strings.TrimSuffix(string(b.heard), "\r\n")
	if text == "" {
		return nil
	}
	return strings.Split(text, "\r\n")
}

// since returns what was said after n lines.
func (b *bench) since(n int) []string { return b.lines()[min(n, len(b.lines())):] }

// at is when the last line that is exactly this arrived, its first byte.
func (b *bench) at(line string) time.Time {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	i := strings.LastIndex(string(b.heard), line+"\r\n")
	if i < 0 {
		b.t.Fatalf("the console never said %q:\n%s", line, b.heard)
	}
	return b.times[i]
}

func (b *bench) count(line string) int {
	n := 0
	for _, l := range b.lines() {
		if l == line {
			n++
		}
	}
	return n
}

func (b *bench) do(r virtual.Request) virtual.Reply {
	b.t.Helper()
	reply, err := b.board.Do(r)
	if err != nil {
		b.t.Fatalf("Do(%+v): %v", r, err)
	}
	return reply
}

func (b *bench) lamps() string {
	return strings.Join(b.do(virtual.Request{Op: virtual.OpLamps}).Lamps, " ")
}

func (b *bench) place(role string, spacing float64) {
	b.t.Helper()
	b.do(virtual.Request{Op: virtual.OpPlace, Role: role, SpacingMM: spacing})
}

func (b *bench) take() { b.do(virtual.Request{Op: virtual.OpTake}) }

// touch shows a tag for 0.7 s and returns what the console said to it.
func (b *bench) touch(role string) []string {
	b.t.Helper()
	n := len(b.lines())
	b.place(role, 0)
	b.pass(700 * time.Millisecond)
	b.take()
	b.pass(time.Second)
	return b.since(n)
}

// serve brings the board into service with a master and the show card on its list.
func (b *bench) serve() {
	b.t.Helper()
	b.pass(4 * time.Second)
	b.touch("master")
	b.touch("master")
	b.touch("show")
	b.touch("master")
	b.want(b.lines(), "card 5C 0A 91 E3 added")
}

// want fails unless all these lines are there.
func (b *bench) want(lines []string, want ...string) {
	b.t.Helper()
	for _, w := range want {
		if !slices.Contains(lines, w) {
			b.t.Errorf("the console did not say %q; it said:\n%s", w, strings.Join(lines, "\n"))
		}
	}
}

// never fails when one of these lines is there.
func (b *bench) never(lines []string, not ...string) {
	b.t.Helper()
	for _, w := range not {
		if slices.Contains(lines, w) {
			b.t.Errorf("the console said %q; it said:\n%s", w, strings.Join(lines, "\n"))
		}
	}
}

func is(v bool) *bool { return &v }

// A desk is a controller that keeps what it is asked, with the time. It speaks only
// what a board asks, by the Modbus application protocol V1.1b3, 6.5.
type desk struct {
	clock    clock.Clock
	listener net.Listener

	mu    sync.Mutex
	notes []note
	conns map[net.Conn]bool
	hang  map[net.Conn]bool // closed by the desk itself
}

// A note is one thing that happened at the desk.
type note struct {
	at   time.Time
	what string // "connected", "closed", or unit, address and value
}

func newDesk(t *testing.T, c clock.Clock) *desk {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d := &desk{clock: c, listener: l, conns: map[net.Conn]bool{}, hang: map[net.Conn]bool{}}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			d.mu.Lock()
			d.conns[conn] = true
			d.mu.Unlock()
			d.note("connected")
			go d.serve(conn)
		}
	}()
	return d
}

func (d *desk) serve(conn net.Conn) {
	defer conn.Close()
	adu := make([]byte, 12)
	for {
		if _, err := io.ReadFull(conn, adu); err != nil {
			d.mu.Lock()
			own := d.hang[conn]
			delete(d.conns, conn)
			d.mu.Unlock()
			if own {
				d.clock.Land(1) // the board's own end counts, whoever ended first
				return
			}
			d.note("closed")
			return
		}
		value := binary.BigEndian.Uint16(adu[10:])
		d.note(fmt.Sprintf("unit %d function %d address %d value %04X", adu[6], adu[7], binary.BigEndian.Uint16(adu[8:]), value))
		if _, err := conn.Write(adu); err != nil {
			return
		}
	}
}

func (d *desk) note(what string) {
	d.mu.Lock()
	d.notes = append(d.notes, note{d.clock.Now(), what})
	d.mu.Unlock()
	d.clock.Land(1)
}

// hangUp ends all connections from the controller's side.
func (d *desk) hangUp(t *testing.T) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for c := range d.conns {
		d.hang[c] = true
		if err := c.(*net.TCPConn).CloseWrite(); err != nil {
			t.Error(err)
		}
	}
}

// whats are the notes' texts after n of them.
func (d *desk) whats(n int) []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	var w []string
	for _, n := range d.notes[min(n, len(d.notes)):] {
		w = append(w, n.what)
	}
	return w
}

// last is when a note with that text was last made.
func (d *desk) last(t *testing.T, what string) time.Time {
	t.Helper()
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := len(d.notes) - 1; i >= 0; i-- {
		if d.notes[i].what == what {
			return d.notes[i].at
		}
	}
	t.Fatalf("the controller was never asked %q; notes: %v", what, d.notes)
	return time.Time{}
}

// closeWithin ends a context's wait in tests that leave the simulated clock.
func closeWithin(t *testing.T, d time.Duration) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	t.Cleanup(cancel)
	return ctx
}
