package serialtest_test

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"propwright/serialmon"
	"propwright/serialmon/serialtest"
)

// A relay passes the board's text on with what flip does to it, and its openings:
// a reset by opening again reaches the board.
func TestRelay(t *testing.T) {
	ctx, cancel := context.WithTimeoutCause(t.Context(), 20*time.Second, errors.New("nothing within 20 s"))
	defer cancel()
	board, err := serialtest.NewPty(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	path, stop, err := serialtest.Relay(ctx, board.Path, func(i int64, b byte) byte {
		if i == 4 {
			return b ^ 0x20
		}
		return b
	})
	if err != nil {
		t.Fatal(err)
	}
	sink := &serialtest.Sink{}
	s, err := serialmon.Attach(ctx, serialmon.Options{Name: path, Speed: 115200, Sink: sink, Once: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(board, "hello\r\n"); err != nil {
		t.Fatal(err)
	}
	if err := sink.WaitText(ctx, "hellO\r\n"); err != nil {
		t.Fatal(err)
	}
	if err := board.Unplug(); err != nil {
		t.Fatal(err)
	}
	select {
	case <-s.Done():
	case <-ctx.Done():
		t.Fatal("the board hung up, the relay did not")
	}
	if err := s.Err(); !errors.Is(err, serialmon.ErrLost) {
		t.Errorf("the session ended with %v, want %v", err, serialmon.ErrLost)
	}
	if err := stop(); err != nil {
		t.Errorf("relay: %v", err)
	}
}
