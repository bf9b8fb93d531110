//go:build linux || darwin

package virtual_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

// A hearing is a serialmon.Sink that keeps the text.
type hearing struct {
	mu    sync.Mutex
	text  strings.Builder
	marks []string
	came  chan struct{}
}

func newHearing() *hearing { return &hearing{came: make(chan struct{}, 1)} }

func (h *hearing) Bytes(b []byte, _ time.Time, _ int64) error {
	h.mu.Lock()
	h.text.Write(b)
	h.mu.Unlock()
	h.ring()
	return nil
}

func (h *hearing) Mark(m serialmon.Mark) error {
	h.mu.Lock()
	h.marks = append(h.marks, string(m.Kind))
	h.mu.Unlock()
	h.ring()
	return nil
}

func (h *hearing) ring() {
	select {
	case h.came <- struct{}{}:
	default:
	}
}

func (h *hearing) count(s string) int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return strings.Count(h.text.String(), s)
}

// await waits in real time until s was heard n times.
func (h *hearing) await(t *testing.T, s string, n int) {
	t.Helper()
	ctx := closeWithin(t, 30*time.Second)
	for h.count(s) < n {
		select {
		case <-h.came:
		case <-ctx.Done():
			t.Fatalf("%q heard %d times, want %d; all of it:\n%s", s, h.count(s), n, h.text.String())
		}
	}
}

func newPty(t *testing.T) (*virtual.PtyLine, string) {
	t.Helper()
	alias := filepath.Join(t.TempDir(), "board")
	line, err := virtual.NewPtyLine(alias)
	if err != nil {
		t.Fatal(err)
	}
	return line, alias
}

// On the real clock, through a real device path: each opening restarts the board,
// and a speed that is wrong garbles.
func TestPtyOpeningRestarts(t *testing.T) {
	t.Parallel()
	line, alias := newPty(t)
	clk := clock.Paced(epoch, 20)
	b, err := virtual.New(virtual.Config{Clock: clk})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Connect(line); err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	h := newHearing()
	s, err := serialmon.Attach(t.Context(), serialmon.Options{Name: alias, Speed: 115200, Clock: clk, Sink: h})
	if err != nil {
		t.Fatal(err)
	}
	h.await(t, "ready\r\n", 1)
	if err := s.Reset(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.await(t, "started after: reset input\r\n", 2)
	h.await(t, "ready\r\n", 2)
	if n := h.count("\x00"); n != 0 {
		t.Errorf("%d zero bytes at the right speed", n)
	}
	if err := s.SetSpeed(t.Context(), 1_000_000); err != nil {
		t.Fatal(err)
	}
	if err := s.Reset(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.await(t, "\x00", 100)
	if n := h.count("---- start ----"); n != 2 {
		t.Errorf("%d starts legible, want the 2 at the right speed", n)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

func TestPtyAlias(t *testing.T) {
	t.Parallel()
	line, alias := newPty(t)
	b, err := virtual.New(virtual.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Connect(line); err != nil {
		t.Fatal(err)
	}
	if line.Path() != alias {
		t.Errorf("Path() = %q, want the alias", line.Path())
	}
	for _, in := range []bool{false, true} {
		if _, err := b.Do(virtual.Request{Op: virtual.OpUSB, In: &in}); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(alias); (err == nil) != in {
			t.Errorf("usb in = %t: alias: %v", in, err)
		}
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Lstat(alias); err == nil {
		t.Error("the alias outlived the board")
	}
	if err := os.WriteFile(alias, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	other, _ := virtual.NewPtyLine(alias)
	c, err := virtual.New(virtual.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Connect(other); err == nil {
		t.Error("an alias that is somebody's file was replaced")
	}
}

// On the simulated clock, in lock step: resets by closing and opening, and a plug
// that is pulled, end with every byte accounted for. A byte too few landed and time
// stands still; one too many and the clock panics.
func TestPtyLockStep(t *testing.T) {
	t.Parallel()
	line, alias := newPty(t)
	sim := clock.Simulated(epoch)
	b, err := virtual.New(virtual.Config{Clock: sim, LockStep: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Connect(line); err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	h := newHearing()
	ctx := closeWithin(t, 60*time.Second)
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: alias, Speed: 115200, Clock: sim, Sink: h, Open: line.Opener(serialmon.OpenSerial), Notice: b.Noticed,
	})
	if err != nil {
		t.Fatal(err)
	}
	pass := func(d time.Duration) {
		t.Helper()
		if err := sim.Sleep(ctx, d); err != nil {
			t.Fatalf("time stands still: %v", err)
		}
	}
	pass(3 * time.Second)
	starts := h.count("---- start ----")
	if starts != 1 {
		t.Errorf("%d starts after opening, want 1", starts)
	}
	for i := range 20 {
		// In the middle of the start text, and at other moments.
		pass(time.Duration(150+i*7) * time.Millisecond)
		if err := s.Reset(ctx); err != nil {
			t.Fatal(err)
		}
	}
	pass(3 * time.Second)
	if n := h.count("ready\r\n"); n < 2 {
		t.Errorf("ready %d times, want at the beginning and at the end", n)
	}
	for range 3 {
		out, in := false, true
		if _, err := b.Do(virtual.Request{Op: virtual.OpUSB, In: &out}); err != nil {
			t.Fatal(err)
		}
		if err := s.Await(ctx, false); err != nil {
			t.Fatal(err)
		}
		pass(time.Second)
		if _, err := b.Do(virtual.Request{Op: virtual.OpUSB, In: &in}); err != nil {
			t.Fatal(err)
		}
		if err := s.Await(ctx, true); err != nil {
			t.Fatal(err)
		}
		n := h.count("ready\r\n")
		pass(3 * time.Second)
		if h.count("ready\r\n") != n+1 {
			t.Errorf("no start after USB came back: %q", h.marks)
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// The speed of a board that prints at another one is found over the device path.
func TestPtyLikelySpeed(t *testing.T) {
	t.Parallel()
	line, alias := newPty(t)
	sim := clock.Simulated(epoch)
	b, err := virtual.New(virtual.Config{Clock: sim, LockStep: true, Fault: "wrong-speed"})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Connect(line); err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	ctx := closeWithin(t, 60*time.Second)
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: alias, Speed: 115200, Clock: sim, Sink: newHearing(), Open: line.Opener(serialmon.OpenSerial), Notice: b.Noticed,
	})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	guess, err := s.LikelySpeed(ctx)
	if err != nil || guess.Baud != 9600 {
		t.Errorf("likely speed %+v, %v; want 9600 baud", guess, err)
	}
}
