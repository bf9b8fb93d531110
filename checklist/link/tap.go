package link

import (
	"encoding/hex"
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"time"

	"propwright/checklist"
)

// behindTime is how long the server behind the tap, on this computer, may take.
const behindTime = 5 * time.Second

// A tapped connection is one client and the tap's own connection behind it.
type tapped struct {
	s          *StandIn
	conn       net.Conn
	id         uint64
	turnedAway bool // one too many, or come while the stand-in went off

	behind   net.Conn
	recorded chan struct{} // closed once the end is on record and, if it is ours, on its way to the client

	mu       sync.Mutex // over the read deadline and what follows from it
	ended    bool       // the stand-in wants the connection to end
	draining bool       // the reader waits for the client's end, without a deadline
}

func newTapped(s *StandIn, conn net.Conn, id uint64) *tapped {
	return &tapped{s: s, conn: conn, id: id, recorded: make(chan struct{})}
}

// end asks for the end from the stand-in's side and wakes the reader, unless that
// waits for the client's end already.
func (c *tapped) end() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ended = true
	if !c.draining {
		_ = c.conn.SetReadDeadline(time.Unix(1, 0)) // fails only where it is closed, which ends it too
	}
}

// cut drops the connection; nothing that the other side sends is counted after.
func (c *tapped) cut() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ended = true
	_ = c.conn.Close() // both sides learn of it by reading
}

// serve deals with the connection until it ends.
func (c *tapped) serve() {
	defer func() { _ = c.conn.Close() }()
	defer c.hangUp()
	if c.turnedAway {
		c.halfClose()
		close(c.recorded)
		c.land() // the connection itself
		c.drain()
		return
	}
	err := c.record(checklist.Frame{Kind: checklist.FrameConnected})
	c.land()
	for err == nil {
		err = c.exchange()
	}
	theirs := isTheirs(err)
	_ = c.record(checklist.Frame{Kind: checklist.FrameClosed}) // an error here is the log's, which knows
	if !theirs {
		c.halfClose()
	}
	close(c.recorded)
	if theirs {
		c.land()
		return
	}
	c.drain()
}

// exchange passes one request and its answer.
func (c *tapped) exchange() error {
	if err := c.impatiently(); err != nil {
		return err
	}
	adu, err := ReadADU(c.conn)
	at := c.s.config.Clock.Now()
	if errors.Is(err, ErrMalformed) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.Join(err, c.record(checklist.Frame{At: at, Kind: checklist.FrameMalformed, Request: encode(adu)}))
	}
	if err != nil {
		return err
	}
	r, err := ParseRequest(adu)
	if err != nil {
		return err
	}
	reply := c.answer(adu, r)
	f := frameOf(r, c.s.config.Base)
	f.At, f.Answer, f.Request, f.Reply = at, answerOf(reply), encode(adu), encode(reply)
	err = c.record(f)
	c.land()
	if err != nil || reply == nil {
		return err
	}
	_, err = c.conn.Write(reply)
	return err
}

// answer gets the answer from the server behind; nil where none is due. The
// library closes the connection on an illegal data value, where the protocol has
// exception 03 (Application Protocol V1.1b3, 7), so the tap says that itself.
func (c *tapped) answer(adu []byte, r Request) []byte {
	if c.s.config.OnlyUnit && r.Unit != c.s.config.Unit {
		return nil
	}
	if !r.Sound {
		return exception(adu, exceptionDataCode)
	}
	reply, err := c.ask(adu)
	if err != nil {
		c.hangUp()
		return exception(adu, 0x04) // device failure: the server behind is ours
	}
	return reply
}

func (c *tapped) ask(adu []byte) ([]byte, error) {
	if c.behind == nil {
		conn, err := c.s.server.dial()
		if err != nil {
			return nil, err
		}
		c.behind = conn
	}
	if err := c.behind.SetDeadline(time.Now().Add(behindTime)); err != nil {
		return nil, err
	}
	if _, err := c.behind.Write(adu); err != nil {
		return nil, err
	}
	return ReadADU(c.behind)
}

func (c *tapped) hangUp() {
	if c.behind != nil {
		c.s.server.hangUp(c.behind)
		c.behind = nil
	}
}

// halfClose ends this side of the connection where frames are counted; who waits for
// the end to be on record then knows that the client can see it, however fast a
// simulated clock goes on.
func (c *tapped) halfClose() {
	if half, ok := c.conn.(interface{ CloseWrite() error }); ok && c.s.config.CountFrames {
		_ = half.CloseWrite() // it fails where the client has gone, which reading tells too
	}
}

// drain reads on after this side has been closed: what the client has under way must
// still be counted off, its own end included.
func (c *tapped) drain() {
	if !c.s.config.CountFrames || c.patiently() != nil {
		return
	}
	for {
		_, err := ReadADU(c.conn)
		if err == nil {
			c.land()
			continue
		}
		if errors.Is(err, ErrMalformed) { // from the middle of a frame on: only the end counts
			_, err = io.Copy(io.Discard, c.conn)
		}
		if err == nil || isTheirs(err) {
			c.land()
		}
		return
	}
}

// impatiently gives the client until its silence is too long, by real time
// whatever the run's clock is: it bounds what a silent peer can hold. It fails
// where the end has been asked for.
func (c *tapped) impatiently() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.ended {
		return net.ErrClosed
	}
	return c.conn.SetReadDeadline(time.Now().Add(c.s.config.MaxSilence))
}

// patiently takes the read deadline off for good.
func (c *tapped) patiently() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.draining = true
	return c.conn.SetReadDeadline(time.Time{})
}

func (c *tapped) record(f checklist.Frame) error {
	if f.At.IsZero() {
		f.At = c.s.config.Clock.Now()
	}
	f.Conn, f.Peer = c.id, c.conn.RemoteAddr().String()
	if f.Kind != checklist.FrameRequest {
		f.Address, f.Coil = -1, -1
	}
	return c.s.config.Record(f)
}

func (c *tapped) land() {
	if c.s.config.CountFrames {
		c.s.config.Clock.Land(1)
	}
}

// encode writes bytes as upper-case hex.
func encode(b []byte) string { return strings.ToUpper(hex.EncodeToString(b)) }
