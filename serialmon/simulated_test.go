package serialmon_test

import (
	"errors"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/serialtest"
)

// On a simulated clock time stands still from the sending of bytes until the sink
// has them: each is stamped with the moment of its sending, however long the
// goroutines take.
func TestSimulatedTimeWaitsForBytes(t *testing.T) {
	ctx := deadline(t)
	c := clock.Simulated(noon())
	port := newBoardPort(c, 9600)
	sink := &serialtest.Sink{}
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: "port-a", Clock: c, Sink: sink, Speed: 9600,
		Open: func(string, int, bool) (serialmon.Port, error) { return port, nil },
	})
	must(t, err)
	for i := range 5 {
		c.AfterFunc(time.Duration(i)*time.Second, func() {
			c.Depart(6)
			port.out <- []byte("tick\r\n")
		})
	}
	must(t, c.Sleep(ctx, time.Minute))
	if got := c.Now().Sub(noon()); got != time.Minute {
		t.Errorf("woke after %v, want 1m", got)
	}
	must(t, s.Close())
	var at []time.Duration
	for _, chunk := range sink.Chunks() {
		at = append(at, chunk.At.Sub(noon()))
	}
	if diff := cmp.Diff([]time.Duration{0, 1e9, 2e9, 3e9, 4e9}, at); diff != "" {
		t.Errorf("arrivals (-want +got):\n%s", diff)
	}
}

// Hands that pull and put back a plug hold the clock until the session has seen
// it; then the marks have the moment of the act, to the nanosecond.
func TestSimulatedTimeWaitsForThePlug(t *testing.T) {
	ctx := deadline(t)
	c := clock.Simulated(noon())
	pull := make(chan struct{})
	first := serialtest.NewScript(serialtest.Step{Gate: pull, Err: syscall.EIO})
	plugged := make(chan struct{})
	sink := &serialtest.Sink{}
	opened := 0
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Name: "port-a", Clock: c, Sink: sink, Speed: 9600,
		Open: func(name string, _ int, _ bool) (serialmon.Port, error) {
			if opened++; opened == 1 {
				return first, nil
			}
			select {
			case <-plugged:
				return serialtest.NewScript(), nil
			default:
				return nil, &serialmon.OpenError{Name: name, Reason: serialmon.ReasonMissing}
			}
		},
	})
	must(t, err)
	must(t, c.Sleep(ctx, 10*time.Second))
	close(pull)
	must(t, s.Await(ctx, false))
	if err := s.Reset(ctx); !errors.Is(err, serialmon.ErrLost) {
		t.Errorf("Reset while unplugged = %v, want %v", err, serialmon.ErrLost)
	}
	must(t, c.Sleep(ctx, 30*time.Second))
	close(plugged)
	must(t, s.Await(ctx, true))
	must(t, c.Sleep(ctx, 5*time.Second))
	must(t, s.Close())
	type mark struct {
		Kind     serialmon.MarkKind
		At, Away time.Duration
	}
	var got []mark
	for _, m := range sink.Marks() {
		got = append(got, mark{m.Kind, m.At.Sub(noon()), m.Away})
	}
	want := []mark{
		{serialmon.MarkAttached, 0, 0},
		{serialmon.MarkDetached, 10 * time.Second, 0},
		{serialmon.MarkAttached, 40 * time.Second, 0},
		{serialmon.MarkGap, 40 * time.Second, 30 * time.Second},
		{serialmon.MarkDetached, 45 * time.Second, 0},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("marks (-want +got):\n%s", diff)
	}
}

// A run that goes on tells of the time since the last byte on record.
func TestResumedRecordingHasGap(t *testing.T) {
	ctx := deadline(t)
	dir := t.TempDir()
	rec, err := serialmon.OpenRecorder(dir)
	must(t, err)
	_, err = rec.Write([]byte("before\r\n"), noon())
	must(t, err)
	must(t, rec.Close())
	rec, err = serialmon.OpenRecorder(dir)
	must(t, err)
	sink := &serialtest.Sink{}
	s, err := serialmon.Attach(ctx, serialmon.Options{
		Open: serialtest.Open(serialtest.NewScript(serialtest.Say("after\r\n"))).Opener,
		Name: "port-a", Clock: clock.Paced(noon().Add(time.Hour), 1), Record: rec, Sink: sink,
	})
	must(t, err)
	must(t, sink.WaitText(ctx, "after\r\n"))
	must(t, s.Close())
	must(t, rec.Close())
	marks := sink.Marks()
	if len(marks) != 3 || marks[1].Kind != serialmon.MarkGap || marks[1].Why != serialmon.WhyResume || marks[1].Offset != 8 {
		t.Errorf("marks %+v; want attached, a gap at offset 8 for the time since, detached", marks)
	}
	if chunks := sink.Chunks(); len(chunks) != 1 || chunks[0].Offset != 8 {
		t.Errorf("chunks %+v; want one at offset 8", chunks)
	}
	checkCapture(t, dir, "before\r\nafter\r\n")
}
