//go:build linux || darwin

package serialmon_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"propwright/serialmon"
	"propwright/serialmon/serialtest"
)

func newPty(t *testing.T) *serialtest.Pty {
	t.Helper()
	p, err := serialtest.NewPty(t.TempDir())
	must(t, err)
	t.Cleanup(func() { p.Unplug() })
	return p
}

// attachPty attaches through the library, as on a real device path.
func attachPty(t *testing.T, p *serialtest.Pty, opt serialmon.Options) *serialmon.Session {
	t.Helper()
	opt.Name = p.Path
	if opt.Speed == 0 {
		opt.Speed = 115200
	}
	s, err := serialmon.Attach(t.Context(), opt)
	must(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

// R3 and R8 to R12 over a real pseudo-terminal: every byte value, then the plug is
// pulled and put back, and the record holds the bytes and the gap.
func TestPtyUnplugAndBack(t *testing.T) {
	ctx := deadline(t)
	line := newPty(t)
	dir := t.TempDir()
	rec, err := serialmon.OpenRecorder(dir)
	must(t, err)
	sink := &serialtest.Sink{}
	s := attachPty(t, line, serialmon.Options{Sink: sink, Record: rec})

	noise := rand.New(rand.NewPCG(1, 2))
	said := make([]byte, 0, 1<<20)
	for i := range 256 {
		said = append(said, byte(i))
	}
	for len(said) < cap(said) {
		said = append(said, byte(noise.Uint32()))
	}
	_, err = line.Write(said)
	must(t, err)
	must(t, sink.WaitBytes(ctx, len(said)))
	must(t, line.Unplug())
	must(t, s.Await(ctx, false))
	if got, err := os.ReadFile(filepath.Join(dir, serialmon.ConsoleFile)); err != nil || sha256.Sum256(got) != sha256.Sum256(said) {
		t.Errorf("console.raw at the gap: %d bytes, %v; want the %d said", len(got), err, len(said))
	}
	must(t, line.Plug())
	must(t, s.Await(ctx, true))
	_, err = io.WriteString(line, "back again\r\n")
	must(t, err)
	must(t, sink.WaitText(ctx, "back again\r\n"))
	must(t, s.Close())
	must(t, rec.Close())

	want := []serialmon.MarkKind{serialmon.MarkAttached, serialmon.MarkDetached, serialmon.MarkAttached, serialmon.MarkGap, serialmon.MarkDetached}
	if diff := cmp.Diff(want, sink.Kinds()); diff != "" {
		t.Errorf("marks (-want +got):\n%s", diff)
	}
	rows, err := os.ReadFile(filepath.Join(dir, serialmon.ArrivalsFile))
	must(t, err)
	marks := sink.Marks()
	gap := fmt.Sprintf("\n# gap %s %s\n%d,", stamp(marks[1].At), stamp(marks[3].At), len(said))
	if !bytes.Contains(rows, []byte(gap)) {
		t.Errorf("arrivals.csv lacks %q; it ends with %q", gap, rows[max(0, len(rows)-200):])
	}
}

// stamp is RFC 3339 with nanoseconds, as the contract has it for events.
func stamp(at time.Time) string { return at.UTC().Format("2006-01-02T15:04:05.000000000Z07:00") }

// R11: the same link leads to a fresh pseudo-terminal each time; the first bytes
// after plugging in are whole.
func TestPtyReturnsManyTimes(t *testing.T) {
	ctx := deadline(t)
	line := newPty(t)
	sink := &serialtest.Sink{}
	s := attachPty(t, line, serialmon.Options{Sink: sink})
	for i := range 20 {
		must(t, line.Unplug())
		must(t, s.Await(ctx, false))
		must(t, line.Plug())
		hello := fmt.Sprintf("hello %d\r\n", i)
		_, err := io.WriteString(line, hello)
		must(t, err)
		must(t, s.Await(ctx, true))
		must(t, sink.WaitText(ctx, hello))
	}
}

// Unplugged and put back over and over, in the middle of lines too: what arrives is
// what was said, no line lost and none doubled, and each time is a gap on record.
// PROPWRIGHT_REPLUGS sets how often; under CI it is 500 times.
func TestPtyReplugsLoseNothing(t *testing.T) {
	rounds := 100
	if os.Getenv("CI") != "" {
		rounds = 500
	}
	if text := os.Getenv("PROPWRIGHT_REPLUGS"); text != "" {
		_, err := fmt.Sscan(text, &rounds)
		must(t, err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute+time.Duration(rounds)*time.Second)
	defer cancel()
	line := newPty(t)
	dir := t.TempDir()
	rec, err := serialmon.OpenRecorder(dir)
	must(t, err)
	sink := &serialtest.Sink{}
	s := attachPty(t, line, serialmon.Options{Sink: sink, Record: rec})
	var said bytes.Buffer
	say := func(text string) {
		said.WriteString(text)
		_, err := io.WriteString(line, text)
		must(t, err)
		must(t, sink.WaitBytes(ctx, said.Len())) // what nobody has read is lost with the line
	}
	for i := range rounds {
		say(fmt.Sprintf("line %d of the night\r\nand one that is cut after %d", i, i))
		must(t, line.Unplug())
		must(t, s.Await(ctx, false))
		must(t, line.Plug())
		must(t, s.Await(ctx, true))
		say(fmt.Sprintf("---- start %d ----\r\n", i))
	}
	must(t, s.Close())
	must(t, rec.Close())
	if got := sink.Text(); !bytes.Equal(got, said.Bytes()) {
		t.Errorf("%d bytes delivered of %d said, or others", len(got), said.Len())
	}
	checkCapture(t, dir, said.String())
	gaps := 0
	for _, k := range sink.Kinds() {
		if k == serialmon.MarkGap {
			gaps++
		}
	}
	if rows := readFile(t, dir, serialmon.ArrivalsFile); gaps != rounds || strings.Count(rows, "# gap ") != rounds {
		t.Errorf("%d gaps told and %d on record; want %d", gaps, strings.Count(rows, "# gap "), rounds)
	}
}

// R7: resets, changes of speed and the plug all at once, and then the end in the middle
// of it. Nothing hangs, what was said while all stood still is there once, and the race
// detector, with which these tests also run, has nothing to tell.
func TestPtyAllAtOnce(t *testing.T) {
	ctx := deadline(t)
	line := newPty(t)
	sink := &serialtest.Sink{}
	s := attachPty(t, line, serialmon.Options{Sink: sink})
	busy := func(rounds int, then func()) {
		var all sync.WaitGroup
		for _, do := range []func(i int) error{
			func(int) error { return s.Reset(ctx) },
			func(i int) error { return s.SetSpeed(ctx, []int{9600, 57600, 115200}[i%3]) },
			func(int) error { _ = s.Speed(); return s.Err() },
			func(int) error { return errors.Join(line.Unplug(), line.Plug()) },
		} {
			all.Go(func() {
				for i := range rounds {
					_ = do(i) // refused where the plug is out just then
				}
			})
		}
		then()
		all.Wait()
	}
	busy(25, func() {})
	must(t, line.Unplug())
	must(t, s.Await(ctx, false))
	must(t, line.Plug())
	must(t, s.Await(ctx, true))
	must(t, s.SetSpeed(ctx, 115200))
	const still = "all still again\r\n"
	_, err := io.WriteString(line, still)
	must(t, err)
	must(t, sink.WaitText(ctx, still))
	if n := strings.Count(string(sink.Text()), still); n != 1 {
		t.Errorf("what was said once came %d times", n)
	}
	busy(25, func() { must(t, s.Close()) })
	select {
	case <-s.Done():
	default:
		t.Error("the session is closed and goes on")
	}
	must(t, ctx.Err())
}

// R16, R17 have no subject: a port has no way to write. R18: nothing is ever sent to the board, through attaching, resetting and a change
// of speed.
func TestNothingIsSent(t *testing.T) {
	ctx := deadline(t)
	line := newPty(t)
	sink := &serialtest.Sink{}
	s := attachPty(t, line, serialmon.Options{Sink: sink})
	must(t, s.Reset(ctx))
	must(t, s.SetSpeed(ctx, 9600))
	if sent(t, line.Board()) {
		t.Error("something was sent to the board, want nothing")
	}
	// The looking itself must see a byte that somebody does send.
	other, err := os.OpenFile(line.Path, os.O_RDWR|unix.O_NOCTTY, 0)
	must(t, err)
	defer other.Close()
	_, err = other.Write([]byte("x"))
	must(t, err)
	if !sent(t, line.Board()) {
		t.Error("a byte sent on purpose is not seen")
	}
}

// sent reports whether bytes wait at the board's side.
func sent(t *testing.T, board *os.File) bool {
	t.Helper()
	conn, err := board.SyscallConn()
	must(t, err)
	var waiting bool
	must(t, conn.Control(func(fd uintptr) {
		watch := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
		_, err = unix.Poll(watch, 0)
		waiting = watch[0].Revents&unix.POLLIN != 0
	}))
	must(t, err)
	return waiting
}

// A pseudo-terminal has no control lines, so a reset closes and opens it: told as a
// gap, not as a loss, and the text of the restart comes after it.
func TestPtyReset(t *testing.T) {
	ctx := deadline(t)
	line := newPty(t)
	sink := &serialtest.Sink{}
	var mu sync.Mutex
	notices := 0
	s := attachPty(t, line, serialmon.Options{Sink: sink, Notice: func(context.Context) error {
		mu.Lock()
		defer mu.Unlock()
		notices++
		if notices == 3 { // after the attachment, the closing and the opening
			_, err := io.WriteString(line, "restarted\r\n")
			return err
		}
		return nil
	}})
	_, err := io.WriteString(line, "before\r\n")
	must(t, err)
	must(t, sink.WaitText(ctx, "before\r\n"))
	must(t, s.Reset(ctx))
	must(t, sink.WaitText(ctx, "before\r\nrestarted\r\n"))
	marks := sink.Marks()
	if len(marks) != 2 || marks[1].Kind != serialmon.MarkGap || marks[1].Why != serialmon.WhyReset ||
		marks[1].Offset != int64(len("before\r\n")) || marks[1].Away < 50*time.Millisecond {
		t.Errorf("marks %+v; want attached and a gap for the reset of 50 ms and more, after the text before", marks)
	}
}
