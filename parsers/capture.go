package parsers

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"time"
)

// A capture is two files: the console's bytes as they came, and a CSV file of
// arrivals, `offset,time`, with a row where a line of text begins and one where a
// byte came a millisecond or more after the one before. A row's time holds for
// all bytes up to the next row's offset. Time without an open port stands between
// the rows as a remark, `# gap FROM TO`, never in the bytes.
const (
	arrivalsHeader = "offset,time"
	gapRemark      = "# gap "

	// arrivalGap is the pause between bytes from which a row is written.
	arrivalGap = time.Millisecond

	// captureReads is how many bytes of a console are read at a time.
	captureReads = 64 << 10
)

// A Piece is a run of a capture's bytes that have one arrival time, or a gap.
type Piece struct {
	Offset int64
	Bytes  []byte    // empty for a gap; its reader's until yield returns
	At     time.Time // zero when not known
	Gap    *Gap
}

// A Gap is time without an open port. To is zero where the port did not come back.
type Gap struct{ From, To time.Time }

// A CaptureError reports a broken place in a capture.
type CaptureError struct {
	File  string // "arrivals.csv" or "console.raw"
	Line  int    // from 1; 0 where the file as a whole is meant
	Field string // "offset", "time", "gap" or "row"
	Err   error
}

// Error is one line: file, line, field and reason.
func (e *CaptureError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %s: %v", e.File, e.Field, e.Err)
	}
	return fmt.Sprintf("%s:%d: field %s: %v", e.File, e.Line, e.Field, e.Err)
}

// Unwrap is the reason.
func (e *CaptureError) Unwrap() error { return e.Err }

// ReadCapture gives a capture's bytes in order to yield, each run with its
// arrival time, and its gaps. arrivals may be nil: then no time is known.
//
// Nothing is lost to a broken file: a row that cannot be read is passed over,
// every byte of the console is given out, and the first broken place comes back
// as a *CaptureError at the end. An error of yield or of reading the console ends
// it at once.
func ReadCapture(console io.Reader, arrivals io.Reader, yield func(Piece) error) error {
	rows := &arrivalReader{}
	if arrivals != nil {
		rows.in = bufio.NewReaderSize(arrivals, 64<<10)
		rows.header()
	}
	c := &captureReader{console: bufio.NewReaderSize(console, captureReads), yield: yield}
	for {
		row, ok := rows.next()
		if !ok {
			break
		}
		if row.gap != nil {
			if err := c.gap(row.gap); err != nil {
				return err
			}
			continue
		}
		if row.offset < c.rowOffset {
			rows.broken("offset", fmt.Errorf("%d after %d, offsets must not fall", row.offset, c.rowOffset))
			continue
		}
		c.rowOffset = row.offset
		if err := c.upTo(row.offset); err != nil {
			return err
		}
		if c.offset < row.offset {
			rows.broken("offset", fmt.Errorf("%d lies behind the end of the console at %d", row.offset, c.offset))
			continue
		}
		c.at = row.at
	}
	if err := c.upTo(-1); err != nil {
		return err
	}
	if rows.err != nil {
		return rows.err
	}
	return nil
}

// captureReader hands out the console up to given offsets.
type captureReader struct {
	console   *bufio.Reader
	yield     func(Piece) error
	offset    int64
	rowOffset int64
	at        time.Time
	buf       []byte // to read into
	gaps      []*Gap // met since the last row; they lie at its successor's offset
}

func (c *captureReader) gap(g *Gap) error {
	c.gaps = append(c.gaps, g)
	return nil
}

// upTo gives out the bytes before an offset, all of them when it is negative,
// and then the gaps that lie there.
func (c *captureReader) upTo(offset int64) error {
	if c.buf == nil {
		c.buf = make([]byte, captureReads) // as large as the reader's own, so that it reads into this one
	}
	for offset < 0 || c.offset < offset {
		want := int64(len(c.buf))
		if offset >= 0 {
			want = min(want, offset-c.offset)
		}
		n, err := c.console.Read(c.buf[:want])
		if n > 0 {
			p := Piece{Offset: c.offset, Bytes: c.buf[:n], At: c.at}
			c.offset += int64(n)
			if err := c.yield(p); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("read console: %w", err)
		}
	}
	for _, g := range c.gaps {
		if err := c.yield(Piece{Offset: c.offset, At: g.From, Gap: g}); err != nil {
			return err
		}
	}
	c.gaps = nil
	return nil
}

// clip shortens text from outside for a message.
func clip(text string) string {
	const most = 60
	if len(text) <= most {
		return text
	}
	return text[:most] + "..."
}
