package serialmon

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"propwright/parsers"
)

// The two files of a capture.
const (
	ConsoleFile  = "console.raw"
	ArrivalsFile = "arrivals.csv"
)

// A Recorder writes a capture: the console's bytes as they came, and beside them
// when they came. Nothing is held back in memory, so what Write returned for is
// still there after the process was killed; after a power cut that holds for what
// Sync returned for. It is safe for concurrent use.
type Recorder struct {
	mu       sync.Mutex
	raw      *os.File
	arrivals *os.File
	rows     *parsers.ArrivalWriter
	offset   int64
	last     time.Time // of the last byte or gap on record; zero when there is none
	err      error     // the first one; after it nothing is written any more
}

// OpenRecorder begins a capture in a folder, which it makes where it is missing,
// or goes on with the one that is there: a run that was ended at any moment can be
// resumed. What an end in the middle of writing has left behind half is cut off
// the arrivals; no byte of the console is ever touched.
func OpenRecorder(dir string) (*Recorder, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	// A tag's number is a key: the files are for their owner.
	raw, err := os.OpenFile(filepath.Join(dir, ConsoleFile), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	arrivals, err := os.OpenFile(filepath.Join(dir, ArrivalsFile), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("record: %w", err), raw.Close())
	}
	r := &Recorder{raw: raw, arrivals: arrivals}
	if err := r.resume(); err != nil {
		return nil, errors.Join(fmt.Errorf("record: %w", err), r.Close())
	}
	return r, nil
}

// resume finds the end of what is on record and sets the files to it.
func (r *Recorder) resume() error {
	info, err := r.raw.Stat()
	if err != nil {
		return err
	}
	r.offset = info.Size()
	keep, last, err := soundRows(r.arrivals, r.offset)
	if err != nil {
		return err
	}
	if err := r.arrivals.Truncate(keep); err != nil {
		return err
	}
	if _, err := r.arrivals.Seek(keep, 0); err != nil {
		return err
	}
	r.last = last
	if keep == 0 {
		r.rows, err = parsers.NewArrivals(r.arrivals)
		if err == nil && r.offset > 0 {
			r.rows = parsers.ResumeArrivals(r.arrivals, r.offset)
		}
		return err
	}
	r.rows = parsers.ResumeArrivals(r.arrivals, r.offset)
	return nil
}

// Write puts bytes on record with their arrival time and returns the offset of the
// first one. After an error it takes no more.
func (r *Recorder) Write(b []byte, at time.Time) (offset int64, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		return r.offset, r.err
	}
	offset = r.offset
	n, err := r.raw.Write(b)
	r.offset += int64(n)
	if err == nil {
		err = r.rows.Bytes(b, at)
	}
	r.last = at
	return offset, r.note(err)
}

// Gap puts time without an open port on record, between the bytes before and
// those to come.
func (r *Recorder) Gap(from, to time.Time) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		return r.err
	}
	r.last = to
	return r.note(r.rows.Gap(from, to))
}

// Sync returns once everything written is safe from a power cut.
func (r *Recorder) Sync() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		return r.err
	}
	return r.note(errors.Join(r.raw.Sync(), r.arrivals.Sync()))
}

// Offset is where the next byte will stand in the capture.
func (r *Recorder) Offset() int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.offset
}

// Last is the arrival of the last byte on record or the end of the last gap; zero
// where there is none.
func (r *Recorder) Last() time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.last
}

// Close closes the files. It does not wait for the disk; Sync does.
func (r *Recorder) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if errors.Is(r.err, os.ErrClosed) {
		return nil
	}
	r.err = os.ErrClosed
	return errors.Join(r.raw.Close(), r.arrivals.Close())
}

func (r *Recorder) note(err error) error {
	if err != nil && r.err == nil {
		r.err = fmt.Errorf("record: %w", err)
	}
	return r.err
}
