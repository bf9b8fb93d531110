package serialmon_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/serialmon"
	"propwright/serialmon/serialtest"
)

// soon bounds a test's wait for what should happen at once; it is no measure.
const soon = 20 * time.Second

func deadline(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeoutCause(t.Context(), soon, errors.New("nothing within "+soon.String()))
	t.Cleanup(cancel)
	return ctx
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// attach attaches to scripts and closes at the end of the test.
func attach(t *testing.T, sink serialmon.Sink, scripts ...*serialtest.Script) (*serialmon.Session, *serialtest.Openings) {
	t.Helper()
	open := serialtest.Open(scripts...)
	s, err := serialmon.Attach(t.Context(), serialmon.Options{
		Open: open.Opener, Name: "port-a", Speed: 115200, Sink: sink,
	})
	must(t, err)
	t.Cleanup(func() { s.Close() })
	return s, open
}

// R1: ten seconds of silence are a hundred time-outs of 100 ms.
func TestSilenceIsNotTheEnd(t *testing.T) {
	ctx := deadline(t)
	steps := make([]serialtest.Step, 100)
	steps = append(steps, serialtest.Say("still here\r\n"))
	sink := &serialtest.Sink{}
	attach(t, sink, serialtest.NewScript(steps...))
	must(t, sink.WaitText(ctx, "still here\r\n"))
	if diff := cmp.Diff([]serialmon.MarkKind{serialmon.MarkAttached}, sink.Kinds()); diff != "" {
		t.Errorf("marks after silence (-want +got):\n%s", diff)
	}
}

// R9: every error ends the attachment and is told as a loss, with bytes that came
// along delivered before. The numbers are those seen on Linux, macOS and Windows.
func TestAnyErrorIsALoss(t *testing.T) {
	for _, err := range []error{
		io.EOF, io.ErrUnexpectedEOF, syscall.EBADF, syscall.EIO, syscall.ENXIO, syscall.ENODEV,
		syscall.Errno(5), syscall.Errno(22), syscall.Errno(31), syscall.Errno(995), serialtest.ErrClosed,
	} {
		t.Run(fmt.Sprint(err), func(t *testing.T) {
			ctx := deadline(t)
			first := serialtest.NewScript(serialtest.Step{B: []byte("last words"), Err: err})
			sink := &serialtest.Sink{}
			s, _ := attach(t, sink, first, serialtest.NewScript(serialtest.Say("back")))
			must(t, sink.WaitText(ctx, "last wordsback"))
			if n := first.FailedReads(); n != 1 {
				t.Errorf("%d reads after the end, want none", n-1)
			}
			if !first.Closed() {
				t.Error("the dead handle is still open")
			}
			must(t, s.Close())
			want := []serialmon.Mark{
				{Kind: serialmon.MarkAttached, Attachment: 1},
				{Kind: serialmon.MarkDetached, Attachment: 1, Offset: 10},
				{Kind: serialmon.MarkAttached, Attachment: 2, Offset: 10},
				{Kind: serialmon.MarkGap, Attachment: 2, Offset: 10},
				{Kind: serialmon.MarkDetached, Attachment: 2, Offset: 14, Why: serialmon.WhyLetGo},
			}
			got := sink.Marks()
			for i := range got {
				if got[i].Name != "port-a" || got[i].Speed != 115200 || got[i].At.IsZero() {
					t.Errorf("mark %d: %+v lacks name, speed or time", i, got[i])
				}
				if i == 1 && (got[i].Why == "" || got[i].Why == serialmon.WhyLetGo) {
					t.Errorf("loss told as %q", got[i].Why)
				}
				if i == 3 && got[i].Away <= 0 {
					t.Errorf("gap of %v", got[i].Away)
				}
				got[i].Name, got[i].Speed, got[i].At, got[i].Away = "", 0, time.Time{}, 0
			}
			if len(got) == 5 {
				got[1].Why = ""
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("marks (-want +got):\n%s", diff)
			}
		})
	}
}

// R9, the other way round: closing is never shown as an unplug.
func TestOwnCloseIsNoLoss(t *testing.T) {
	ctx := deadline(t)
	sink := &serialtest.Sink{}
	port := serialtest.NewScript(serialtest.Say("hello"))
	s, open := attach(t, sink, port)
	must(t, sink.WaitText(ctx, "hello"))
	if err := s.Close(); err != nil {
		t.Errorf("Close() = %v, want nil", err)
	}
	last := sink.Marks()[len(sink.Marks())-1]
	if last.Kind != serialmon.MarkDetached || last.Why != serialmon.WhyLetGo || len(sink.Marks()) != 2 {
		t.Errorf("marks after Close: %+v", sink.Marks())
	}
	if n := len(open.Asked()); n != 1 || !port.Closed() {
		t.Errorf("opened %d times, closed %t; want once and true", n, port.Closed())
	}
}

// R10, R11: the dead handle is closed before the first try; tries go on while the
// port is missing.
func TestComesBackAfterMissing(t *testing.T) {
	ctx := deadline(t)
	sink := &serialtest.Sink{}
	first := serialtest.NewScript(serialtest.Break(syscall.EIO))
	var closedFirst []bool
	open := serialtest.Open(first, nil, nil, serialtest.NewScript(serialtest.Say("again")))
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: "port-a", Speed: 9600, NoReset: true, Sink: sink,
		Open: func(name string, speed int, noReset bool) (serialmon.Port, error) {
			closedFirst = append(closedFirst, first.Closed())
			return open.Opener(name, speed, noReset)
		},
	})
	must(t, err)
	must(t, sink.WaitText(ctx, "again"))
	must(t, s.Close())
	if diff := cmp.Diff([]bool{false, true, true, true}, closedFirst); diff != "" {
		t.Errorf("dead handle closed at each opening (-want +got):\n%s", diff)
	}
	call := serialtest.Opening{Name: "port-a", Speed: 9600, NoReset: true}
	if diff := cmp.Diff([]serialtest.Opening{call, call, call, call}, open.Asked()); diff != "" {
		t.Errorf("openings (-want +got):\n%s", diff)
	}
}

// R15: a driver that hangs in Close does not keep the session from ending.
func TestHangingCloseIsLeftBehind(t *testing.T) {
	ctx := deadline(t)
	hang := make(chan struct{})
	port := serialtest.NewScript(serialtest.Say("x"))
	port.HangClose = hang
	sink := &serialtest.Sink{}
	s, _ := attach(t, sink, port)
	must(t, sink.WaitText(ctx, "x"))
	began := time.Now()
	must(t, s.Close())
	if took := time.Since(began); took > time.Second+500*time.Millisecond {
		t.Errorf("Close took %v with a driver that hangs, want about a second at most", took)
	}
	close(hang)
}

func TestContextEndsSession(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stopped := errors.New("stopped by the person")
	sink := &serialtest.Sink{}
	open := serialtest.Open(serialtest.NewScript())
	s, err := serialmon.Attach(ctx, serialmon.Options{Open: open.Opener, Name: "port-a", Sink: sink})
	must(t, err)
	cancel(stopped)
	<-s.Done()
	if err := s.Err(); !errors.Is(err, stopped) {
		t.Errorf("Err() = %v, want %v", err, stopped)
	}
	if err := s.Reset(t.Context()); !errors.Is(err, serialmon.ErrLost) {
		t.Errorf("Reset after the end = %v, want %v", err, serialmon.ErrLost)
	}
}

// Gone and back more than five times within a minute is worth a hint (R14).
func TestFlappingGivesHint(t *testing.T) {
	ctx := deadline(t)
	var scripts []*serialtest.Script
	for range 6 {
		scripts = append(scripts, serialtest.NewScript(serialtest.Break(syscall.EIO)))
	}
	sink := &serialtest.Sink{}
	attach(t, sink, append(scripts, serialtest.NewScript())...)
	must(t, sink.WaitMarks(ctx, 1+6*3))
	var hints []bool
	for _, m := range sink.Marks() {
		if m.Kind == serialmon.MarkGap {
			hints = append(hints, m.Why != "")
		}
	}
	if diff := cmp.Diff([]bool{false, false, false, false, false, true}, hints); diff != "" {
		t.Errorf("hints at the gaps (-want +got):\n%s", diff)
	}
}

// R2: the reader goes on while the disk or the sink stands still.
func TestSlowSinkLosesNothing(t *testing.T) {
	ctx := deadline(t)
	const chunks, size = 200, 1000 // a second of the fastest common line
	var steps []serialtest.Step
	for i := range chunks {
		b := make([]byte, size)
		for j := range b {
			b[j] = byte(i + j)
		}
		steps = append(steps, serialtest.Step{B: b})
	}
	hold := make(chan struct{})
	end := make(chan struct{})
	port := serialtest.NewScript(append(steps, serialtest.Step{Err: io.EOF, Reached: end})...)
	sink := &serialtest.Sink{Hold: hold}
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: "port-a", Sink: sink, Once: true,
		Open: serialtest.Open(port).Opener,
	})
	must(t, err)
	// The sink has taken nothing yet; the reader must come to the end all the same.
	select {
	case <-end:
	case <-ctx.Done():
		t.Fatalf("reader stands still with %d steps left", port.Left())
	}
	close(hold)
	must(t, s.Close())
	var want []byte
	for _, st := range steps {
		want = append(want, st.B...)
	}
	if !bytes.Equal(want, sink.Text()) {
		t.Error("what the slow sink got differs from what was sent")
	}
}

// R13: another device under the old name is refused, not taken for the board.
func TestAnotherDeviceIsRefused(t *testing.T) {
	ctx := deadline(t)
	devices := []string{"1A86:7523:A1", "1A86:7523:B2"}
	sink := &serialtest.Sink{}
	stranger := serialtest.NewScript()
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: "port-a", Sink: sink,
		Open: serialtest.Open(serialtest.NewScript(serialtest.Break(syscall.EIO)), stranger).Opener,
		Identity: func(string) string {
			d := devices[0]
			devices = devices[1:]
			return d
		},
	})
	must(t, err)
	select {
	case <-s.Done():
	case <-ctx.Done():
		t.Fatal("session goes on with another device")
	}
	want := &serialmon.IdentityError{Name: "port-a", Was: "1A86:7523:A1", Is: "1A86:7523:B2"}
	got, _ := errors.AsType[*serialmon.IdentityError](s.Err())
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Err() (-want +got):\n%s", diff)
	}
	if !stranger.Closed() {
		t.Error("the other device's port is still open")
	}
	if diff := cmp.Diff([]serialmon.MarkKind{serialmon.MarkAttached, serialmon.MarkDetached}, sink.Kinds()); diff != "" {
		t.Errorf("marks (-want +got):\n%s", diff)
	}
}

// A reset by opening again counts as an attachment of its own; a loss after it is
// told under its number, and one that cannot be opened again is a loss.
func TestResetThenLoss(t *testing.T) {
	ctx := deadline(t)
	var scripts []*serialtest.Script
	end := make(chan struct{})
	for _, steps := range [][]serialtest.Step{
		{serialtest.Say("one ")},
		{serialtest.Say("two "), {Gate: end, Err: syscall.EIO}},
		{serialtest.Say("three ")},
	} {
		p := serialtest.NewScript(steps...)
		p.NoLines = true
		scripts = append(scripts, p)
	}
	sink := &serialtest.Sink{}
	s, open := attach(t, sink, append(scripts, nil, serialtest.NewScript(serialtest.Say("four")))...)
	must(t, sink.WaitText(ctx, "one "))
	must(t, s.Reset(ctx))
	must(t, sink.WaitText(ctx, "two "))
	close(end)
	must(t, sink.WaitText(ctx, "three "))
	if err := s.Reset(ctx); err == nil {
		t.Error("Reset with a port that cannot be opened again = nil, want an error")
	}
	must(t, sink.WaitText(ctx, "one two three four"))
	must(t, s.Close())
	type mark struct {
		Kind       serialmon.MarkKind
		Attachment int
	}
	var got []mark
	for _, m := range sink.Marks() {
		got = append(got, mark{m.Kind, m.Attachment})
	}
	want := []mark{
		{serialmon.MarkAttached, 1}, {serialmon.MarkGap, 2}, {serialmon.MarkDetached, 2},
		{serialmon.MarkAttached, 3}, {serialmon.MarkGap, 3}, {serialmon.MarkDetached, 3},
		{serialmon.MarkAttached, 4}, {serialmon.MarkGap, 4}, {serialmon.MarkDetached, 4},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("marks (-want +got):\n%s", diff)
	}
	if n := len(open.Asked()); n != 5 {
		t.Errorf("opened %d times, want 5", n)
	}
}

// A port with control lines is reset by them, without closing it.
func TestResetByLines(t *testing.T) {
	ctx := deadline(t)
	port := serialtest.NewScript()
	sink := &serialtest.Sink{}
	s, open := attach(t, sink, port)
	must(t, s.Reset(ctx))
	if port.Pulses() != 1 || port.Closed() || len(open.Asked()) != 1 || len(sink.Marks()) != 1 {
		t.Errorf("%d pulses, closed %t, opened %d times, marks %q; want one pulse on the open port and no mark",
			port.Pulses(), port.Closed(), len(open.Asked()), sink.Kinds())
	}
}

// What was heard before the end and could not be kept is an error, even if the
// disk says so after the end.
func TestErrorAfterTheEndIsKept(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	full := errors.New("disk full")
	hold := make(chan struct{})
	read := make(chan struct{})
	port := serialtest.NewScript(serialtest.Say("heard"), serialtest.Step{Reached: read})
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Open: serialtest.Open(port).Opener, Name: "port-a", Sink: &serialtest.Sink{Hold: hold, Fail: full},
	})
	must(t, err)
	<-read
	cancel(errors.New("stopped by the person"))
	close(hold)
	<-s.Done()
	if err := s.Err(); !errors.Is(err, full) {
		t.Errorf("Err() = %v, want %v", err, full)
	}
}
