package link

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"sync"
	"time"

	"propwright/checklist"
)

// What ended a connection, in the words of a Frame's Why.
const (
	endedByClient = "ended by the client"
	endedByFar    = "ended by the controller"
	endedByTap    = "ended here"
)

// Times that a tap gives to what it waits for.
const (
	lingerTime = 2 * time.Second // the controller, for its last answers after the client's end
)

// chunk is how many bytes of one direction are passed on at once.
const chunk = 4096

// A tapped connection is one client and the tap's own connection behind it.
type tapped struct {
	t          *Tap
	conn       net.Conn
	id         uint64
	peer       string
	turnedAway bool // one too many, or come while the tap went off

	far      farSide
	up, down decoder // requests, replies
	waiting  pending
	heard    time.Time     // when the client was last heard of, by the computer's clock
	begun    time.Time     // when the frame that is under way began, by the computer's clock
	recorded chan struct{} // closed once the end is on record and, if it is ours, on its way to the client

	mu       sync.Mutex // over the read deadline and what follows from it, and over setting far
	ended    string     // why the connection is to end, where the client has not ended it
	draining bool       // the reader waits for the client's end, without a deadline
}

func newTapped(t *Tap, conn net.Conn, id uint64) *tapped {
	return &tapped{t: t, conn: conn, id: id, peer: conn.RemoteAddr().String(), recorded: make(chan struct{})}
}

// end asks for the end from the tap's side and wakes the reader, unless that waits
// for the client's end already.
func (c *tapped) end(why string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.ended == "" {
		c.ended = why
	}
	if !c.draining {
		_ = c.conn.SetReadDeadline(time.Unix(1, 0)) // fails only where it is closed, which ends it too
	}
}

// cut drops both connections; nothing that either side sends is counted after.
func (c *tapped) cut() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.ended == "" {
		c.ended = endedByTap
	}
	_ = c.conn.Close() // both sides learn of it by reading
	if c.far != nil {
		_ = c.far.Close() // a request that waits to be taken there waits no longer
	}
}

// behind keeps the tap's own connection where cut finds it.
func (c *tapped) behind(far farSide) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.far = far
}

// wanted is why the connection is to end; "" where it is not.
func (c *tapped) wanted() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.ended
}

// serve deals with the connection until it ends.
func (c *tapped) serve() {
	defer func() { _ = c.conn.Close() }()
	if c.turnedAway {
		c.halfClose()
		close(c.recorded)
		c.land() // the connection itself
		c.drain()
		return
	}
	err := c.record(checklist.Frame{Kind: checklist.FrameConnected})
	c.land()
	why := endedByTap
	if err == nil {
		why = c.pass()
	}
	_ = c.record(checklist.Frame{Kind: checklist.FrameClosed, Why: why}) // an error here is the log's, which knows
	theirs := why == endedByClient
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

// pass passes both directions on until either side ends the connection, or the tap
// does, and says why.
func (c *tapped) pass() (why string) {
	far, err := c.t.dial()
	if err != nil {
		return fmt.Sprintf("controller not reached: %v", reason(err))
	}
	c.behind(far)
	if s, ok := far.(interface{ onSilence(func(uint16)) }); ok && c.t.config.CountFrames {
		s.onSilence(c.unanswered) // nobody waits for what is known never to come
	}
	defer func() { _ = far.Close() }()
	answered := make(chan struct{})
	go func() {
		defer close(answered)
		c.end(c.replies())
		_ = far.Close() // a request that waits to be taken there waits for nothing
	}()
	why = c.requests()
	_ = far.CloseWrite() // it fails where the far side has ended, which the replies tell
	select {
	case <-answered:
	case <-time.After(lingerTime):
		_ = far.Close()
		<-answered
	}
	for _, a := range c.waiting.overdue(farFuture()) {
		_ = c.request(a.frame) // an error here is the log's, which knows
	}
	return why
}

// farFuture is later than any request.
func farFuture() time.Time { return time.Unix(1<<40, 0) }

// requests passes on what the client sends until it ends the connection or that is
// to end, and says why.
func (c *tapped) requests() (why string) {
	buf := make([]byte, chunk)
	c.heard = time.Now()
	for {
		if why = c.impatiently(); why != "" {
			break
		}
		n, err := c.conn.Read(buf)
		if n > 0 {
			c.heard = time.Now()
			under, whole := c.up.under(), c.up.whole
			if err := c.forth(buf[:n]); err != nil {
				why = ours(err)
				break
			}
			if !under || c.up.whole != whole {
				c.begun = c.heard
			}
		}
		if err == nil {
			continue
		}
		if why = c.patience(err); why != "" {
			break
		}
	}
	if c.up.under() {
		_ = c.malformed(c.up.adu[:c.up.n], "cut short: "+why)
	}
	return why
}

// ours says that the tap ends a connection because of an error.
func ours(err error) string { return fmt.Sprintf("%s: %v", endedByTap, reason(err)) }

// forth passes bytes of the client on. Their frames are known before the controller
// has them, so that no answer can come first.
func (c *tapped) forth(p []byte) error {
	at := c.t.config.Clock.Now()
	bad, err := c.up.feed(p, at, func(a arrival) error {
		r, err := ParseRequest(a.adu)
		if err != nil {
			return err
		}
		f := frameOf(r, c.t.config.Base)
		f.At, f.Request = a.last, encode(a.adu)
		if a.first.Before(a.last) {
			f.First = a.first
		}
		given, ok := c.waiting.add(asked{transactionOf(a.adu), f, time.Now()})
		if ok {
			return c.request(given.frame)
		}
		return nil
	})
	if bad != nil {
		err = c.malformed(bad, err.Error())
	}
	if err != nil {
		return err
	}
	if limited, ok := c.far.(interface{ SetWriteDeadline(time.Time) error }); ok {
		if err := limited.SetWriteDeadline(time.Now().Add(c.t.config.TakeTime)); err != nil {
			return err
		}
	}
	_, err = c.far.Write(p)
	return err
}

// replies passes on what the controller sends until it ends the connection, and says
// why that ended.
func (c *tapped) replies() (why string) {
	buf := make([]byte, chunk)
	for {
		n, err := c.far.Read(buf)
		if n > 0 {
			if err := c.back(buf[:n]); err != nil {
				return ours(err)
			}
		}
		switch {
		case err == nil:
		case errors.Is(err, io.EOF) || isTheirs(err):
			return endedByFar
		default:
			return fmt.Sprintf("%s: %v", endedByFar, reason(err))
		}
	}
}

// back passes bytes of the controller on. The last byte of an answer goes when its
// frame is on record.
func (c *tapped) back(p []byte) error {
	at := c.t.config.Clock.Now()
	bad, err := c.down.feed(p, at, func(a arrival) error {
		asked, ok := c.waiting.answered(transactionOf(a.adu))
		if !ok {
			return c.malformed(a.adu, "an answer to no request")
		}
		f := asked.frame
		f.Answer, f.Reply, f.Answered = answerOf(a.adu), encode(a.adu), a.last
		return c.request(f)
	})
	if bad != nil {
		err = c.malformed(bad, "from the controller: "+err.Error())
	}
	if err != nil {
		return err
	}
	if err := c.conn.SetWriteDeadline(time.Now().Add(c.t.config.TakeTime)); err != nil {
		return err
	}
	_, err = c.conn.Write(p)
	return err
}

// unanswered puts on record that a request gets no answer.
func (c *tapped) unanswered(transaction uint16) {
	if asked, ok := c.waiting.answered(transaction); ok {
		_ = c.request(asked.frame) // an error here is the log's, which knows
	}
}

// request puts a request on record and counts it off.
func (c *tapped) request(f checklist.Frame) error {
	defer c.land()
	return c.record(f)
}

// malformed puts bytes on record that are no frame.
func (c *tapped) malformed(b []byte, why string) error {
	return c.record(checklist.Frame{Kind: checklist.FrameMalformed, Request: encode(b), Why: why})
}

// halfClose ends this side of the connection where frames are counted; who waits for
// the end to be on record then knows that the client can see it, however fast a
// simulated clock goes on.
func (c *tapped) halfClose() {
	if half, ok := c.conn.(interface{ CloseWrite() error }); ok && c.t.config.CountFrames {
		_ = half.CloseWrite() // it fails where the client has gone, which reading tells too
	}
}

// drain reads on after this side has been closed: what the client has under way must
// still be counted off, its own end included.
func (c *tapped) drain() {
	if !c.t.config.CountFrames || c.patiently() != nil {
		return
	}
	buf := make([]byte, chunk)
	for {
		n, err := c.conn.Read(buf)
		_, _ = c.up.feed(buf[:n], time.Time{}, func(arrival) error { // no frame is none to count
			c.land()
			return nil
		})
		if err == nil {
			continue
		}
		if isTheirs(err) {
			c.land()
		}
		return
	}
}

// impatiently sets until when the reader waits: for the client's next byte, for the
// rest of a frame, or until the oldest request counts as unanswered. It says why
// where the end has been asked for.
func (c *tapped) impatiently() (why string) {
	limits := &c.t.config
	until := c.heard.Add(limits.MaxSilence)
	if c.up.under() {
		until = earlier(until, c.begun.Add(limits.MaxFrame))
	}
	if since, ok := c.waiting.oldest(); ok {
		until = earlier(until, since.Add(limits.AnswerWait))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.ended != "" {
		return c.ended
	}
	if err := c.conn.SetReadDeadline(until); err != nil {
		return ours(err)
	}
	return ""
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// patience says why an error of reading ends the connection; "" where it was only
// time to look at what waits.
func (c *tapped) patience(err error) (why string) {
	limits := &c.t.config
	now := time.Now()
	switch why = c.wanted(); {
	case isTheirs(err):
		return endedByClient
	case why != "":
		return why
	case !errors.Is(err, os.ErrDeadlineExceeded):
		return ours(err)
	case now.Sub(c.heard) >= limits.MaxSilence:
		return fmt.Sprintf("%s: silent for %v", endedByTap, limits.MaxSilence)
	case c.up.under() && now.Sub(c.begun) >= limits.MaxFrame:
		return fmt.Sprintf("%s: a frame not whole within %v", endedByTap, limits.MaxFrame)
	}
	for _, a := range c.waiting.overdue(now.Add(-limits.AnswerWait)) {
		if err := c.request(a.frame); err != nil {
			return ours(err)
		}
	}
	return ""
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
		f.At = c.t.config.Clock.Now()
	}
	f.Conn, f.Peer = c.id, c.peer
	if f.Kind != checklist.FrameRequest {
		f.Address, f.Coil = -1, -1
	}
	return c.t.config.Record(f)
}

func (c *tapped) land() {
	if c.t.config.CountFrames {
		c.t.config.Clock.Land(1)
	}
}

// encode writes bytes as upper-case hex.
func encode(b []byte) string { return strings.ToUpper(hex.EncodeToString(b)) }
