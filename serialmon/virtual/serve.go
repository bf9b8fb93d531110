package virtual

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
)

// requestLimit bounds one line of the control channel, in bytes.
const requestLimit = 64 << 10

// controlConns is how many hands may hold the control channel open at once.
const controlConns = 8

// ServeControl answers requests on the control channel until ctx ends or the
// listener fails: JSON Lines, a Reply for each Request, in order. It closes the
// listener and every connection before it returns; the end of ctx is no error.
func ServeControl(ctx context.Context, l net.Listener, b *Board) error {
	ctx, cancel := context.WithCancel(ctx)
	// On this context, whose end is asked about below: a parent's end reaches it a
	// moment later than what else hangs on the parent.
	defer context.AfterFunc(ctx, func() { l.Close() })()
	defer l.Close()
	var serving sync.WaitGroup
	defer serving.Wait()
	defer cancel()
	slots := make(chan struct{}, controlConns)
	for {
		c, err := l.Accept()
		if ctx.Err() != nil {
			if err == nil {
				c.Close()
			}
			return nil
		}
		if err != nil {
			return fmt.Errorf("control channel: %w", err)
		}
		select {
		case slots <- struct{}{}:
		default:
			c.Close() // too many hands
			continue
		}
		serving.Go(func() {
			defer func() { <-slots }()
			defer context.AfterFunc(ctx, func() { c.Close() })()
			defer c.Close()
			serveConn(c, b)
		})
	}
}

// serveConn answers until the other end is gone or sends what is no line.
func serveConn(c io.ReadWriter, b *Board) {
	in := bufio.NewReaderSize(c, requestLimit)
	for {
		line, err := in.ReadSlice('\n')
		if len(line) == 0 && err != nil {
			return
		}
		reply := answer(b, line, err)
		data, encodeErr := json.Marshal(reply)
		if encodeErr != nil {
			return
		}
		if _, writeErr := c.Write(append(data, '\n')); writeErr != nil || err != nil {
			return
		}
	}
}

// answer does what a line asks for.
func answer(b *Board, line []byte, err error) Reply {
	if errors.Is(err, bufio.ErrBufferFull) {
		return Reply{Error: fmt.Sprintf("request: more than %d bytes", requestLimit)}
	}
	r, err := decodeRequest(line)
	if err != nil {
		return Reply{Error: err.Error()}
	}
	reply, err := b.Do(r)
	if err != nil {
		return Reply{Error: err.Error()}
	}
	return reply
}

// decodeRequest reads one JSON object and nothing behind it.
func decodeRequest(line []byte) (Request, error) {
	var r Request
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(&r); err != nil {
		return Request{}, fmt.Errorf("request: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Request{}, errors.New("request: more than one on a line")
	}
	return r, nil
}

// A Control is the hands' end of a control channel. Its methods are safe for
// concurrent use.
type Control struct {
	mu   sync.Mutex
	conn net.Conn
	in   *bufio.Reader
}

// DialControl connects to a board's control channel, a Unix socket.
func DialControl(path string) (*Control, error) {
	c, err := net.Dial("unix", path)
	if err != nil {
		return nil, fmt.Errorf("control channel: %w", err)
	}
	return &Control{conn: c, in: bufio.NewReaderSize(c, requestLimit)}, nil
}

// Do sends a request and returns its reply. A request that the board refused, and a
// channel that has ended, are errors.
func (c *Control) Do(r Request) (Reply, error) {
	data, err := json.Marshal(r)
	if err != nil {
		return Reply{}, fmt.Errorf("control channel: %w", err)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, err := c.conn.Write(append(data, '\n')); err != nil {
		return Reply{}, fmt.Errorf("control channel: %w", err)
	}
	line, err := c.in.ReadSlice('\n')
	if err != nil {
		return Reply{}, fmt.Errorf("control channel: %w", err)
	}
	var reply Reply
	if err := json.Unmarshal(line, &reply); err != nil {
		return Reply{}, fmt.Errorf("control channel: reply %q: %w", line, err)
	}
	if reply.Error != "" {
		return Reply{}, errors.New(reply.Error)
	}
	return reply, nil
}

// Close ends the channel.
func (c *Control) Close() error { return c.conn.Close() }
