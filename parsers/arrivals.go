package parsers

import (
	"io"
	"strconv"
	"time"
)

// An ArrivalWriter writes the arrivals of a capture while it is recorded, one
// write a call, so that what was written survives the end of the process. It is
// not safe for concurrent use.
type ArrivalWriter struct {
	out    io.Writer
	offset int64     // of the next byte
	last   time.Time // arrival of the last byte
	prev   byte      // the last byte; '\n' at the start
	buf    []byte
}

// NewArrivals begins a file of arrivals with its header.
func NewArrivals(out io.Writer) (*ArrivalWriter, error) {
	if _, err := io.WriteString(out, arrivalsHeader+"\n"); err != nil {
		return nil, err
	}
	return ResumeArrivals(out, 0), nil
}

// ResumeArrivals goes on with a file of arrivals for a console that already has
// offset bytes. The next byte begins a row.
func ResumeArrivals(out io.Writer, offset int64) *ArrivalWriter {
	return &ArrivalWriter{out: out, offset: offset, prev: '\n'}
}

// Offset is where the next byte will stand in the console.
func (w *ArrivalWriter) Offset() int64 { return w.offset }

// Bytes notes bytes that arrived together. It writes a row if they came a
// millisecond or more after the last ones, and one for each line that begins in
// them.
func (w *ArrivalWriter) Bytes(b []byte, at time.Time) error {
	if len(b) == 0 {
		return nil
	}
	at = at.UTC()
	w.buf = w.buf[:0]
	gap := at.Sub(w.last) >= arrivalGap || at.Before(w.last)
	for i, c := range b {
		begins := w.prev == '\n' && c != '\r' || w.prev == '\r' && c != '\n'
		if begins || (i == 0 && gap) {
			w.buf = strconv.AppendInt(w.buf, w.offset, 10)
			w.buf = append(w.buf, ',')
			w.buf = at.AppendFormat(w.buf, eventTime)
			w.buf = append(w.buf, '\n')
		}
		w.prev = c
		w.offset++
	}
	w.last = at
	return w.write()
}

// Gap notes time without an open port, between the last byte and the next.
func (w *ArrivalWriter) Gap(from, to time.Time) error {
	w.buf = append(w.buf[:0], gapRemark...)
	w.buf = from.UTC().AppendFormat(w.buf, eventTime)
	w.buf = append(w.buf, ' ')
	w.buf = to.UTC().AppendFormat(w.buf, eventTime)
	w.buf = append(w.buf, '\n')
	w.last, w.prev = time.Time{}, '\n'
	return w.write()
}

func (w *ArrivalWriter) write() error {
	if len(w.buf) == 0 {
		return nil
	}
	_, err := w.out.Write(w.buf)
	return err
}
