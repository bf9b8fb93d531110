package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync/atomic"
	"time"
)

// A StandIn is a controller for the board to talk to: a tap before a server of its
// own. It is safe for concurrent use.
type StandIn struct {
	*Tap
	server *server
	muted  *atomic.Bool
}

// Listen starts a stand-in that ends with ctx or with Close. Its error is a
// *ListenError where the address cannot be had; ErrAnswered is among its reasons.
func Listen(ctx context.Context, config Config) (*StandIn, error) {
	if err := config.fill(); err != nil {
		return nil, err
	}
	server, err := startServer(config.MaxConns, config.MaxSilence)
	if err != nil {
		return nil, fmt.Errorf("stand-in: %w", err)
	}
	s := &StandIn{server: server, muted: config.Muted}
	if s.muted == nil {
		s.muted = new(atomic.Bool)
	}
	s.Tap, err = newTap(ctx, config, func() (farSide, error) {
		f := &front{config: config, server: server, muted: s.muted}
		return f.open(), nil
	})
	if err != nil {
		return nil, errors.Join(err, server.stop())
	}
	context.AfterFunc(ctx, func() { _ = s.Close() })
	return s, nil
}

// Coil reports whether a coil is on; coils count from the base.
func (s *StandIn) Coil(n int) bool { return s.server.coil(n - s.config.Base) }

// Mute has requests taken and left without an answer, as by a controller whose program
// stands, until it is called with false.
func (s *StandIn) Mute(on bool) { s.muted.Store(on) }

// Muted reports whether it leaves requests without an answer.
func (s *StandIn) Muted() bool { return s.muted.Load() }

// Close ends the stand-in and its connections and waits for its goroutines.
// Closing twice is no error.
func (s *StandIn) Close() error { return errors.Join(s.Tap.Close(), s.server.stop()) }

// behindTime is how long the library's server, on this computer, may take.
const behindTime = 5 * time.Second

// A front answers one connection of the tap for the server, and knows what the
// library does not.
type front struct {
	config  Config
	server  *server
	behind  net.Conn
	muted   *atomic.Bool
	silence func(transaction uint16) // told of requests without an answer; nil: nobody is
}

// A piped connection is the tap's end of a connection to a front.
type piped struct {
	io.Reader
	io.Writer
	up    *io.PipeWriter
	down  *io.PipeReader
	front *front
}

// onSilence has f called for each request that the front leaves without an answer. It
// is to be called before the first request.
func (p piped) onSilence(f func(transaction uint16)) { p.front.silence = f }

func (p piped) CloseWrite() error { return p.up.Close() }

func (p piped) Close() error { return errors.Join(p.up.Close(), p.down.Close()) }

// open starts the front, which ends with the connection.
func (f *front) open() farSide {
	requests, up := io.Pipe()
	down, replies := io.Pipe()
	go func() {
		err := f.serve(requests, replies)
		f.hangUp()
		_ = requests.CloseWithError(err)
		_ = replies.Close()
	}()
	return piped{down, up, up, down, f}
}

// serve answers requests in their order until they end or one is no frame.
func (f *front) serve(requests io.Reader, replies io.Writer) error {
	for {
		adu, err := ReadADU(requests)
		if err != nil {
			return err
		}
		r, err := ParseRequest(adu)
		if err != nil {
			return err
		}
		reply := f.answer(adu, r)
		if reply == nil {
			if f.silence != nil {
				f.silence(transactionOf(adu))
			}
			continue
		}
		if _, err := replies.Write(reply); err != nil {
			return err
		}
	}
}

// answer gets the answer from the server; nil where none is due. The library closes
// the connection on an illegal data value, where the protocol has exception 03
// (Application Protocol V1.1b3, 7), so the front says that itself.
func (f *front) answer(adu []byte, r Request) []byte {
	if f.muted.Load() || f.config.OnlyUnit && r.Unit != f.config.Unit {
		return nil
	}
	if !r.Sound {
		return exception(adu, exceptionDataCode)
	}
	reply, err := f.ask(adu)
	if err != nil {
		f.hangUp()
		return exception(adu, 0x04) // device failure: the server behind is ours
	}
	return reply
}

func (f *front) ask(adu []byte) ([]byte, error) {
	if f.behind == nil {
		conn, err := f.server.dial()
		if err != nil {
			return nil, err
		}
		f.behind = conn
	}
	if err := f.behind.SetDeadline(time.Now().Add(behindTime)); err != nil {
		return nil, err
	}
	if _, err := f.behind.Write(adu); err != nil {
		return nil, err
	}
	return ReadADU(f.behind)
}

func (f *front) hangUp() {
	if f.behind != nil {
		f.server.hangUp(f.behind)
		f.behind = nil
	}
}
