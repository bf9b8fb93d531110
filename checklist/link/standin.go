package link

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"propwright/checklist"
)

// Limits of the stand-in where its Config gives none.
const (
	defaultMaxConns   = 16
	defaultMaxSilence = 5 * time.Minute
	acceptPause       = 50 * time.Millisecond
)

// A Clock stamps frames and counts them off where the time is simulated. Every
// checklist.Clock is one.
type Clock interface {
	Now() time.Time
	Land(n int)
}

// A Config says where and how the stand-in listens. Addr, Clock and Record must
// be set.
type Config struct {
	Addr string // ADDRESS:PORT; port 0 lets the system choose
	Base int    // number of the first coil, 0 or 1: how the site counts
	// Unit is the only unit identifier that is answered where OnlyUnit is set;
	// requests to others are recorded and left unanswered, as behind a gateway.
	Unit     int
	OnlyUnit bool
	Clock    Clock
	// Record stores a frame before its answer is passed on; on an error the
	// connection is closed. It is called from several goroutines.
	Record     func(checklist.Frame) error
	MaxConns   int           // at one time; 0 means 16
	MaxSilence time.Duration // of the computer's clock; after that a connection is closed; 0 means 5 minutes
	// CountFrames calls Clock.Land(1) for each connection, each whole request and
	// each end of a connection of the client's making, once it is recorded. Where
	// the stand-in itself ends a connection, it counts the client's end when that
	// comes.
	CountFrames bool
}

// A StandIn is a controller for the board to talk to. It is safe for concurrent use.
type StandIn struct {
	config Config
	server *server
	addr   string
	work   sync.WaitGroup

	mu       sync.Mutex
	listener net.Listener // nil while paused and once closed
	conns    map[uint64]*tapped
	last     uint64 // number of the last connection
	closed   bool
}

// Listen starts a stand-in that ends with ctx or with Close. Its error is a
// *ListenError where the address cannot be had; ErrAnswered is among its reasons.
func Listen(ctx context.Context, config Config) (*StandIn, error) {
	if config.Clock == nil || config.Record == nil {
		return nil, errors.New("stand-in: needs a clock and a record")
	}
	if config.MaxConns <= 0 {
		config.MaxConns = defaultMaxConns
	}
	if config.MaxSilence <= 0 {
		config.MaxSilence = defaultMaxSilence
	}
	l, err := listen(ctx, config.Addr)
	if err != nil {
		return nil, err
	}
	server, err := startServer(config.MaxConns, config.MaxSilence)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("stand-in: %w", err), l.Close())
	}
	s := &StandIn{config: config, server: server, addr: l.Addr().String(), listener: l, conns: map[uint64]*tapped{}}
	s.work.Go(func() { s.accept(l) })
	context.AfterFunc(ctx, func() { _ = s.Close() })
	return s, nil
}

// Addr is the address that the stand-in has, ADDRESS:PORT.
func (s *StandIn) Addr() string { return s.addr }

// Coil reports whether a coil is on; coils count from the base.
func (s *StandIn) Coil(n int) bool { return s.server.coil(n - s.config.Base) }

// Pause makes the stand-in a controller that is off: it hears nobody and its
// connections end. It returns once their ends are on record. Pausing twice is no
// error.
func (s *StandIn) Pause() error {
	err := s.deafen()
	s.mu.Lock()
	open := make([]*tapped, 0, len(s.conns))
	for _, c := range s.conns {
		open = append(open, c)
	}
	s.mu.Unlock()
	for _, c := range open {
		c.end()
		<-c.recorded
	}
	return err
}

// deafen gives the address up.
func (s *StandIn) deafen() error {
	s.mu.Lock()
	l := s.listener
	s.listener = nil
	s.mu.Unlock()
	if l == nil {
		return nil
	}
	return l.Close()
}

// Resume listens again at the same address. Resuming twice is no error.
func (s *StandIn) Resume() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return fmt.Errorf("stand-in %s: closed", s.addr)
	}
	if s.listener != nil {
		return nil
	}
	l, err := net.Listen("tcp", s.addr)
	if err != nil {
		_, port, _ := net.SplitHostPort(s.addr)
		return &ListenError{Addr: s.addr, Hint: hint(err, port), Err: reason(err)}
	}
	s.listener = l
	s.work.Go(func() { s.accept(l) })
	return nil
}

// Close ends the stand-in and its connections and waits for its goroutines.
// Closing twice is no error.
func (s *StandIn) Close() error {
	s.mu.Lock()
	again := s.closed
	s.closed = true
	for _, c := range s.conns {
		c.cut()
	}
	s.mu.Unlock()
	err := s.deafen()
	if again {
		s.work.Wait()
		return nil
	}
	err = errors.Join(err, s.server.stop())
	s.work.Wait()
	return err
}

// accept takes connections until its listener is closed.
func (s *StandIn) accept(l net.Listener) {
	for {
		conn, err := l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			<-time.After(acceptPause) // as when the system is out of descriptors
			continue
		}
		s.take(l, conn)
	}
}

// take gives a connection its number and its goroutine.
func (s *StandIn) take(l net.Listener, conn net.Conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last++
	c := newTapped(s, conn, s.last)
	switch {
	case s.closed:
		c.cut()
		return
	case s.listener != l || len(s.conns) >= s.config.MaxConns:
		c.turnedAway = true
	}
	s.conns[c.id] = c
	s.work.Go(func() {
		c.serve()
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.conns, c.id)
	})
}
