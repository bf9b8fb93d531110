package serialtest

import (
	"bytes"
	"context"
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"propwright/serialmon"
)

// A Source lets a board say payload, in pieces of its own choice, and gives what
// is heard to the sink. It returns after the last byte was given out and the
// source has come to its end, or when ctx ends.
type Source func(ctx context.Context, t *testing.T, payload []byte, sink serialmon.Sink) error

// TestSource checks what every source of console bytes must do: tell of the
// attachment first and of the end last, lose, change and reorder nothing, count
// offsets, never let time run backwards or use memory again, and stop at a sink
// that is broken.
func TestSource(t *testing.T, run Source) {
	payload := everyByte()
	t.Run("nothing is lost", func(t *testing.T) {
		sink := &Sink{}
		if err := run(t.Context(), t, payload, sink); err != nil {
			t.Fatalf("source: %v", err)
		}
		checkStream(t, payload, sink)
	})
	t.Run("no bytes at all", func(t *testing.T) {
		sink := &Sink{}
		if err := run(t.Context(), t, nil, sink); err != nil {
			t.Fatalf("source: %v", err)
		}
		checkStream(t, nil, sink)
	})
	t.Run("a broken sink ends it", func(t *testing.T) {
		full := errors.New("disk full")
		sink := &Sink{Fail: full}
		if err := run(t.Context(), t, payload, sink); !errors.Is(err, full) {
			t.Errorf("source with a sink that returns %q: %v; want that error", full, err)
		}
		if n := len(sink.Chunks()); n != 1 {
			t.Errorf("%d chunks were given to a sink that refused the first", n)
		}
	})
}

func checkStream(t *testing.T, payload []byte, sink *Sink) {
	t.Helper()
	if got := sink.Text(); !bytes.Equal(got, payload) {
		t.Errorf("heard %d bytes, unlike the %d said", len(got), len(payload))
	}
	kinds := sink.Kinds()
	if len(kinds) != 2 || kinds[0] != serialmon.MarkAttached || kinds[1] != serialmon.MarkDetached {
		t.Errorf("marks %q, want attached, detached", kinds)
	}
	var offset int64
	var last time.Time
	for i, c := range sink.Chunks() {
		if c.Marks != 1 {
			t.Errorf("chunk %d came after %d marks, want 1", i, c.Marks)
		}
		if len(c.B) == 0 || c.Offset != offset {
			t.Errorf("chunk %d: %d bytes at offset %d, want some at %d", i, len(c.B), c.Offset, offset)
		}
		if c.At.Before(last) || c.At.Location() != time.UTC {
			t.Errorf("chunk %d: time %v after %v", i, c.At, last)
		}
		offset, last = offset+int64(len(c.B)), c.At
	}
}

// everyByte is text, every byte value, bytes that are not UTF-8, and noise.
func everyByte() []byte {
	b := []byte("first line\r\nsecond\n\n\xff\xfe\x00\x80 end of text\r")
	for i := range 256 {
		b = append(b, byte(i))
	}
	noise := rand.New(rand.NewPCG(13, 56))
	for range 40_000 {
		b = append(b, byte(noise.Uint32()))
	}
	return b
}
