package parsers

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// arrivalReader reads the rows and remembers the first broken one.
type arrivalReader struct {
	in   *bufio.Reader
	line int
	err  *CaptureError
}

// arrivalRow is a row, or a gap where gap is not nil.
type arrivalRow struct {
	offset int64
	at     time.Time
	gap    *Gap
}

func (r *arrivalReader) broken(field string, err error) {
	if r.err == nil {
		r.err = &CaptureError{File: "arrivals.csv", Line: r.line, Field: field, Err: err}
	}
}

// text returns the next line. A last line without its end is a row that was
// being written when the recording ended, and broken.
func (r *arrivalReader) text() (string, bool) {
	if r.in == nil {
		return "", false
	}
	text, err := r.in.ReadString('\n')
	if text != "" {
		r.line++
	}
	if err != nil {
		if !errors.Is(err, io.EOF) {
			r.broken("row", err)
		} else if text != "" {
			r.broken("row", fmt.Errorf("%q is cut off", clip(text)))
		}
		r.in = nil
		return "", false
	}
	return strings.TrimSuffix(strings.TrimSuffix(text, "\n"), "\r"), true
}

func (r *arrivalReader) header() {
	if text, ok := r.text(); ok && text != arrivalsHeader {
		r.broken("row", fmt.Errorf("%q: want the header %q", clip(text), arrivalsHeader))
	}
}

func (r *arrivalReader) next() (arrivalRow, bool) {
	for {
		text, ok := r.text()
		if !ok {
			return arrivalRow{}, false
		}
		if rest, ok := strings.CutPrefix(text, gapRemark); ok {
			gap, err := parseGap(rest)
			if err != nil {
				r.broken("gap", err)
				continue
			}
			return arrivalRow{gap: gap}, true
		}
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		row, field, err := parseArrival(text)
		if err != nil {
			r.broken(field, err)
			continue
		}
		return row, true
	}
}

func parseArrival(text string) (row arrivalRow, field string, err error) {
	offset, at, ok := strings.Cut(text, ",")
	if !ok {
		return row, "row", fmt.Errorf("%q: want two columns", clip(text))
	}
	if row.offset, err = strconv.ParseInt(offset, 10, 64); err != nil || row.offset < 0 || offset[0] == '+' {
		return row, "offset", fmt.Errorf("%q: want a whole number, 0 or more", clip(offset))
	}
	if row.at, err = time.Parse(time.RFC3339Nano, at); err != nil {
		return row, "time", fmt.Errorf("%q: not as RFC 3339 has it", clip(at))
	}
	row.at = row.at.UTC()
	return row, "", nil
}

func parseGap(text string) (*Gap, error) {
	from, to, ok := strings.Cut(text, " ")
	if !ok {
		return nil, fmt.Errorf("%q: want two times", clip(text))
	}
	var g Gap
	var err error
	if g.From, err = time.Parse(time.RFC3339Nano, from); err != nil {
		return nil, fmt.Errorf("%q: not as RFC 3339 has it", clip(from))
	}
	if g.To, err = time.Parse(time.RFC3339Nano, to); err != nil {
		return nil, fmt.Errorf("%q: not as RFC 3339 has it", clip(to))
	}
	g.From, g.To = g.From.UTC(), g.To.UTC()
	return &g, nil
}
