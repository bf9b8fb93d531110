//go:build linux || darwin

package serialmon_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"testing"
	"time"

	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/serialtest"
)

func TestPortSource(t *testing.T) {
	serialtest.TestSource(t, func(ctx context.Context, t *testing.T, payload []byte, sink serialmon.Sink) error {
		line := newPty(t)
		counted := &counter{Sink: sink, want: len(payload), done: make(chan struct{})}
		s := attachPty(t, line, serialmon.Options{Sink: counted})
		go line.Write(payload) // ends at the latest when the test unplugs the line
		if len(payload) > 0 {
			select {
			case <-counted.done:
			case <-s.Done():
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		}
		return s.Close()
	})
}

// counter tells when so many bytes have come.
type counter struct {
	serialmon.Sink
	want, have int
	done       chan struct{}
}

func (c *counter) Bytes(b []byte, at time.Time, offset int64) error {
	if c.have += len(b); c.have == c.want {
		defer close(c.done)
	}
	return c.Sink.Bytes(b, at, offset)
}

func TestPipeSource(t *testing.T) {
	serialtest.TestSource(t, func(ctx context.Context, t *testing.T, payload []byte, sink serialmon.Sink) error {
		r, w := io.Pipe()
		s, err := serialmon.Attach(ctx, serialmon.Options{
			Open: serialmon.PipeOpener(r), Name: "-", Once: true, Sink: sink,
		})
		must(t, err)
		if _, err := w.Write(payload); err == nil {
			w.Close()
		}
		<-s.Done()
		return s.Err()
	})
}

func TestReplaySource(t *testing.T) {
	serialtest.TestSource(t, func(ctx context.Context, t *testing.T, payload []byte, sink serialmon.Sink) error {
		return serialmon.ReplayDir(ctx, recording(t, payload), serialmon.Playback{Sink: sink})
	})
}

// recording records payload in pieces of 1 to 4,096 bytes, a millisecond apart.
func recording(t *testing.T, payload []byte) string {
	t.Helper()
	dir := t.TempDir()
	rec, err := serialmon.OpenRecorder(dir)
	must(t, err)
	at := noon()
	for n := 1; len(payload) > 0; n = n%4096*2 + 1 {
		n = min(n, len(payload))
		_, err := rec.Write(payload[:n], at)
		must(t, err)
		payload, at = payload[n:], at.Add(time.Millisecond)
	}
	must(t, rec.Close())
	return dir
}

// The same text gives the same lines, wherever it comes from: what a port gave is
// recorded, and the recording replayed gives the same bytes at the same times, but
// for what lies within the millisecond that a capture resolves.
func TestReplayIsWhatWasHeard(t *testing.T) {
	ctx := deadline(t)
	line := newPty(t)
	dir := t.TempDir()
	rec, err := serialmon.OpenRecorder(dir)
	must(t, err)
	live, again := &serialtest.Sink{}, &serialtest.Sink{}
	s := attachPty(t, line, serialmon.Options{Sink: live, Record: rec})
	var said bytes.Buffer
	for i := range 50 {
		text := fmt.Sprintf("card 5C 0A 91 %02X accepted\r\n", i)
		said.WriteString(text)
		_, err := io.WriteString(line, text)
		must(t, err)
		must(t, live.WaitBytes(ctx, said.Len()))
	}
	must(t, s.Close())
	must(t, rec.Close())
	must(t, serialmon.ReplayDir(ctx, dir, serialmon.Playback{Sink: again}))
	want, got := lineStarts(live), lineStarts(again)
	if !bytes.Equal(again.Text(), said.Bytes()) || len(got) != 50 {
		t.Fatalf("replay gives %d bytes and %d lines, want %d and 50", len(again.Text()), len(got), said.Len())
	}
	for i := range want {
		if !got[i].Equal(want[i]) {
			t.Errorf("line %d: replayed at %v, heard at %v", i, got[i], want[i])
		}
	}
}

// lineStarts is when each line's first byte came.
func lineStarts(sink *serialtest.Sink) []time.Time {
	var starts []time.Time
	begins := true
	for _, c := range sink.Chunks() {
		for _, b := range c.B {
			if begins {
				starts = append(starts, c.At)
			}
			begins = b == '\n'
		}
	}
	return starts
}

// A broken row loses no byte and is told of at the end.
func TestReplayOfBrokenCapture(t *testing.T) {
	sink := &serialtest.Sink{}
	err := serialmon.Replay(t.Context(), serialmon.Playback{
		Console:  bytes.NewReader([]byte("one\ntwo\n")),
		Arrivals: bytes.NewReader([]byte("offset,time\n0,yesterday\n4,2026-03-04T12:00:00Z\n")),
		Name:     "cut", Sink: sink,
	})
	want := &parsers.CaptureError{}
	if !asCapture(err, &want) || want.Line != 2 || want.Field != "time" {
		t.Errorf("Replay = %v; want a capture error at line 2, field time", err)
	}
	if got := string(sink.Text()); got != "one\ntwo\n" || len(sink.Marks()) != 2 {
		t.Errorf("replayed %q with marks %q; want all of it, attached and detached", got, sink.Kinds())
	}
}
