package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"time"

	"propwright/checklist"
)

// MostConns is how many connections a tap takes at one time where its Config does
// not say: more than any board has sockets (the W5500 has eight).
const MostConns = 16

// Limits of a tap where its Config gives none.
const (
	defaultMaxSilence = 5 * time.Minute
	defaultMaxFrame   = 10 * time.Second
	defaultAnswerWait = 3 * time.Second
	defaultTakeTime   = 10 * time.Second
	acceptPause       = 50 * time.Millisecond
)

// A Clock stamps frames and counts them off where the time is simulated. Every
// checklist.Clock is one.
type Clock interface {
	Now() time.Time
	Land(n int)
}

// A Config says where and how a tap listens. Addr, Clock and Record must be set.
type Config struct {
	Addr string // ADDRESS:PORT; port 0 lets the system choose
	Base int    // number of the first coil, 0 or 1: how the site counts
	// Unit is the only unit identifier that the stand-in answers where OnlyUnit is
	// set; requests to others are recorded and left unanswered, as behind a gateway.
	// A tap before another controller passes on all.
	Unit     int
	OnlyUnit bool
	Clock    Clock
	// Record stores a frame before the last byte of its answer is passed on; on an
	// error the connection is closed. It is called from several goroutines.
	Record func(checklist.Frame) error
	// The limits are times of the computer's clock, whatever the run's clock is: they
	// bound what a peer can hold.
	MaxConns   int           // connections at one time; 0 means 16
	MaxSilence time.Duration // after that without a byte a connection is closed; 0 means 5 minutes
	MaxFrame   time.Duration // within that a frame begun must be whole, else the connection is closed; 0 means 10 s
	AnswerWait time.Duration // after that a request without an answer is put on record as such; 0 means 3 s
	TakeTime   time.Duration // within that either side must take what is passed on, else the connection ends; 0 means 10 s
	// CountFrames calls Clock.Land(1) for each connection, each whole request and
	// each end of a connection of the client's making, once it is recorded. Where
	// the tap itself ends a connection, it counts the client's end when that comes.
	CountFrames bool
	// Muted is where a stand-in keeps whether it leaves requests without an answer, for
	// whoever has to know that besides; nil: in a place of its own.
	Muted *atomic.Bool
}

func (c *Config) fill() error {
	if c.Clock == nil || c.Record == nil {
		return errors.New("tap: needs a clock and a record")
	}
	if c.MaxConns <= 0 {
		c.MaxConns = MostConns
	}
	for d, otherwise := range map[*time.Duration]time.Duration{&c.MaxSilence: defaultMaxSilence, &c.MaxFrame: defaultMaxFrame, &c.AnswerWait: defaultAnswerWait, &c.TakeTime: defaultTakeTime} {
		if *d <= 0 {
			*d = otherwise
		}
	}
	return nil
}

// A farSide is the tap's own connection to what is behind it.
type farSide interface {
	io.ReadWriteCloser
	CloseWrite() error
}

// A Tap passes connections on to a controller, byte by byte and unchanged, and puts
// their frames on record. It is safe for concurrent use.
type Tap struct {
	config  Config
	dial    func() (farSide, error)
	addr    string
	work    sync.WaitGroup
	refused atomic.Uint64

	mu       sync.Mutex
	listener net.Listener // nil while paused and once closed
	conns    map[uint64]*tapped
	last     uint64 // number of the last connection
	closed   bool
}

// dialTime is how long a controller may take to take a connection.
const dialTime = 5 * time.Second

// ErrItself says that a tap was to pass on to itself.
var ErrItself = errors.New("passes on to itself")

// ListenTap starts a tap before the controller at to (HOST:PORT) that ends with ctx
// or with Close. A connection is made to the controller for each that is taken, and
// none before. Its error is a *ListenError where the address cannot be had.
func ListenTap(ctx context.Context, config Config, to string) (*Tap, error) {
	dial := func() (farSide, error) {
		conn, err := (&net.Dialer{Timeout: dialTime}).DialContext(ctx, "tcp", to)
		if err != nil {
			return nil, err
		}
		return conn.(*net.TCPConn), nil
	}
	t, err := newTap(ctx, config, dial)
	if err != nil {
		return nil, err
	}
	if reaches(t.addr, to) {
		return nil, errors.Join(&ListenError{Addr: config.Addr, Err: ErrItself, Hint: "give --to the address of the controller behind the tap"}, t.Close())
	}
	return t, nil
}

// reaches reports whether an address to dial is one that is listened on.
func reaches(listening, to string) bool {
	a, err := net.ResolveTCPAddr("tcp", listening)
	if err != nil {
		return false
	}
	b, err := net.ResolveTCPAddr("tcp", to)
	return err == nil && a.Port == b.Port && (a.IP.Equal(b.IP) || a.IP.IsUnspecified() && (b.IP == nil || b.IP.IsLoopback()))
}

func newTap(ctx context.Context, config Config, dial func() (farSide, error)) (*Tap, error) {
	if err := config.fill(); err != nil {
		return nil, err
	}
	l, err := listen(ctx, config.Addr)
	if err != nil {
		return nil, err
	}
	t := &Tap{config: config, dial: dial, addr: l.Addr().String(), listener: l, conns: map[uint64]*tapped{}}
	t.work.Go(func() { t.accept(l) })
	context.AfterFunc(ctx, func() { _ = t.Close() })
	return t, nil
}

// Addr is the address that the tap has, ADDRESS:PORT.
func (t *Tap) Addr() string { return t.addr }

// Refused counts the connections that were turned away because there were too many.
// They are on no record, so that whoever knocks cannot fill the disk.
func (t *Tap) Refused() uint64 { return t.refused.Load() }

// Pause makes the tap a controller that is off: it hears nobody and its connections
// end. It returns once their ends are on record. Pausing twice is no error.
func (t *Tap) Pause() error {
	err := t.deafen()
	return errors.Join(err, t.Drop())
}

// Drop ends the connections that are open, and goes on listening where it does. It
// returns once their ends are on record.
func (t *Tap) Drop() error {
	t.mu.Lock()
	open := make([]*tapped, 0, len(t.conns))
	for _, c := range t.conns {
		open = append(open, c)
	}
	t.mu.Unlock()
	for _, c := range open {
		c.end(endedByTap)
		<-c.recorded
	}
	return nil
}

// deafen gives the address up.
func (t *Tap) deafen() error {
	t.mu.Lock()
	l := t.listener
	t.listener = nil
	t.mu.Unlock()
	if l == nil {
		return nil
	}
	return l.Close()
}

// Resume listens again at the same address. Resuming twice is no error.
func (t *Tap) Resume() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return fmt.Errorf("tap %s: closed", t.addr)
	}
	if t.listener != nil {
		return nil
	}
	l, err := net.Listen("tcp", t.addr)
	if err != nil {
		_, port, _ := net.SplitHostPort(t.addr)
		return &ListenError{Addr: t.addr, Hint: hint(err, port), Err: reason(err)}
	}
	t.listener = l
	t.work.Go(func() { t.accept(l) })
	return nil
}

// Close ends the tap and its connections and waits for its goroutines. Closing
// twice is no error.
func (t *Tap) Close() error {
	t.mu.Lock()
	t.closed = true
	for _, c := range t.conns {
		c.cut()
	}
	t.mu.Unlock()
	err := t.deafen()
	t.work.Wait()
	return err
}

// accept takes connections until its listener is closed.
func (t *Tap) accept(l net.Listener) {
	for {
		conn, err := l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			<-time.After(acceptPause) // as when the system is out of descriptors
			continue
		}
		t.take(l, conn)
	}
}

// take gives a connection its number and its goroutine.
func (t *Tap) take(l net.Listener, conn net.Conn) {
	t.mu.Lock()
	defer t.mu.Unlock()
	full := len(t.conns) >= t.config.MaxConns
	if full && !t.config.CountFrames {
		t.refused.Add(1)
		_ = conn.Close() // nothing was read, nothing is waited for
		return
	}
	t.last++
	c := newTapped(t, conn, t.last)
	switch {
	case t.closed:
		c.cut()
		return
	case t.listener != l || full:
		t.refused.Add(1)
		c.turnedAway = true
	}
	t.conns[c.id] = c
	t.work.Go(func() {
		c.serve()
		t.mu.Lock()
		defer t.mu.Unlock()
		delete(t.conns, c.id)
	})
}
