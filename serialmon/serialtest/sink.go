package serialtest

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"propwright/serialmon"
)

// A Chunk is one call of Sink.Bytes.
type Chunk struct {
	B      []byte
	At     time.Time
	Offset int64
	Marks  int // how many marks had come before
}

// A Sink keeps what a source gives it and lets a test wait for it. The zero value
// is ready for use.
type Sink struct {
	// Hold, where not nil, is received from before each chunk is taken: a sink that
	// is slow for as long as the test wants.
	Hold <-chan struct{}
	// Fail, where not nil, is what taking a chunk returns.
	Fail error

	mu     sync.Mutex
	chunks []Chunk
	marks  []serialmon.Mark
	turned chan struct{}
}

// Bytes keeps a chunk. It does not copy it: a source must not use the memory again.
func (s *Sink) Bytes(b []byte, at time.Time, offset int64) error {
	if s.Hold != nil {
		<-s.Hold
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.chunks = append(s.chunks, Chunk{b, at, offset, len(s.marks)})
	s.turn()
	return s.Fail
}

// Mark keeps a mark.
func (s *Sink) Mark(m serialmon.Mark) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.marks = append(s.marks, m)
	s.turn()
	return nil
}

func (s *Sink) turn() {
	if s.turned != nil {
		close(s.turned)
		s.turned = nil
	}
}

// Chunks returns what has come so far.
func (s *Sink) Chunks() []Chunk {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.chunks)
}

// Marks returns the marks that have come so far.
func (s *Sink) Marks() []serialmon.Mark {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.marks)
}

// Kinds returns the kinds of the marks that have come so far.
func (s *Sink) Kinds() []serialmon.MarkKind {
	var kinds []serialmon.MarkKind
	for _, m := range s.Marks() {
		kinds = append(kinds, m.Kind)
	}
	return kinds
}

// Text returns all bytes that have come so far.
func (s *Sink) Text() []byte {
	var all [][]byte
	for _, c := range s.Chunks() {
		all = append(all, c.B)
	}
	return bytes.Join(all, nil)
}

// Wait blocks until the condition holds, which is tried whenever something has
// come, or ctx ends.
func (s *Sink) Wait(ctx context.Context, what string, cond func() bool) error {
	for {
		s.mu.Lock()
		if s.turned == nil {
			s.turned = make(chan struct{})
		}
		turned := s.turned
		s.mu.Unlock()
		if cond() {
			return nil
		}
		select {
		case <-turned:
		case <-ctx.Done():
			return fmt.Errorf("%s: %w; heard %d bytes, marks %q", what, context.Cause(ctx), len(s.Text()), s.Kinds())
		}
	}
}

// WaitText blocks until the text has come.
func (s *Sink) WaitText(ctx context.Context, text string) error {
	return s.Wait(ctx, fmt.Sprintf("wait for text %q", text), func() bool { return bytes.Contains(s.Text(), []byte(text)) })
}

// WaitBytes blocks until so many bytes have come.
func (s *Sink) WaitBytes(ctx context.Context, n int) error {
	return s.Wait(ctx, fmt.Sprintf("wait for %d bytes", n), func() bool {
		var have int
		for _, c := range s.Chunks() {
			have += len(c.B)
		}
		return have >= n
	})
}

// WaitMarks blocks until so many marks have come.
func (s *Sink) WaitMarks(ctx context.Context, n int) error {
	return s.Wait(ctx, fmt.Sprintf("wait for %d marks", n), func() bool { return len(s.Marks()) >= n })
}
