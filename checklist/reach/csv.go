package reach

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"propwright/checklist/reach/estimate"
)

// The columns of a file of trials.
const (
	columnSpacing   = "spacing_mm"
	columnPresented = "presented"
	columnRead      = "read"
)

// Bounds of what a file of trials may hold; no bench comes near them.
const (
	farthestMM    = 1000.0
	mostPresented = 1_000_000
	mostRows      = 200_000
)

// A TrialsError says what is wrong in a file of trials, and where.
type TrialsError struct {
	File   string
	Line   int    // from 1; 0 for the file as a whole
	Column string // its name, "" for the line as a whole
	Err    error
}

func (e *TrialsError) Error() string {
	text := e.File
	if e.Line > 0 {
		text += ":" + strconv.Itoa(e.Line)
	}
	if e.Column != "" {
		text += ": column " + e.Column
	}
	return text + ": " + e.Err.Error()
}

func (e *TrialsError) Unwrap() error { return e.Err }

// ReadTrials reads counts from comma-separated text (RFC 4180) whose first line names
// the columns: spacing_mm, presented and read, in any order and with others beside
// them, which are not looked at. Lines that begin with # are remarks. The error is a
// *TrialsError, or that of the reader; name is the file's in errors.
func ReadTrials(r io.Reader, name string) ([]estimate.Counts, error) {
	table := csv.NewReader(skipMark(r))
	table.Comment, table.TrimLeadingSpace, table.FieldsPerRecord, table.ReuseRecord = '#', true, -1, true
	t := trialsReader{name: name, csv: table}
	if err := t.header(); err != nil {
		return nil, err
	}
	var all []estimate.Counts
	for {
		cells, err := table.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, t.broken(err)
		}
		c, err := t.row(cells)
		if err != nil {
			return nil, err
		}
		if all = append(all, c); len(all) > mostRows {
			return nil, &TrialsError{File: name, Line: t.line(0), Err: fmt.Errorf("more than %d rows", mostRows)}
		}
	}
	if !slices.ContainsFunc(all, func(c estimate.Counts) bool { return c.Presented > 0 }) {
		return nil, &TrialsError{File: name, Err: errors.New("no trials: no row says that something was presented")}
	}
	return all, nil
}

type trialsReader struct {
	name string
	csv  *csv.Reader
	at   map[string]int // column by name
}

func (t *trialsReader) line(field int) int {
	line, _ := t.csv.FieldPos(field)
	return line
}

// broken turns an error of the table's form into one of ours.
func (t *trialsReader) broken(err error) error {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return &TrialsError{File: t.name, Line: p.Line, Err: p.Err}
	}
	return &TrialsError{File: t.name, Err: err}
}

func (t *trialsReader) header() error {
	cells, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return &TrialsError{File: t.name, Err: errors.New("empty")}
	}
	if err != nil {
		return t.broken(err)
	}
	t.at = map[string]int{}
	for i, cell := range cells {
		name := strings.ToLower(strings.TrimSpace(cell))
		if _, twice := t.at[name]; twice && slices.Contains([]string{columnSpacing, columnPresented, columnRead}, name) {
			return &TrialsError{t.name, t.line(i), name, errors.New("there twice")}
		}
		t.at[name] = i
	}
	for _, name := range []string{columnSpacing, columnPresented, columnRead} {
		if _, there := t.at[name]; !there {
			return &TrialsError{t.name, t.line(0), name, fmt.Errorf("missing; the first line must name %s, %s and %s, with commas between", columnSpacing, columnPresented, columnRead)}
		}
	}
	return nil
}

func (t *trialsReader) row(cells []string) (c estimate.Counts, err error) {
	text := func(column string) (string, error) {
		i := t.at[column]
		if i >= len(cells) || strings.TrimSpace(cells[i]) == "" {
			return "", &TrialsError{t.name, t.line(0), column, errors.New("empty")}
		}
		return strings.TrimSpace(cells[i]), nil
	}
	wrong := func(column, cell, why string) error {
		return &TrialsError{t.name, t.line(t.at[column]), column, fmt.Errorf("%q: %s", cell, why)}
	}
	count := func(column string) (n int, err error) {
		cell, err := text(column)
		if err != nil {
			return 0, err
		}
		n, err = strconv.Atoi(cell)
		switch {
		case err != nil:
			return 0, wrong(column, cell, "not a whole number")
		case n < 0 || n > mostPresented:
			return 0, wrong(column, cell, fmt.Sprintf("must be 0 to %d", mostPresented))
		}
		return n, nil
	}
	cell, err := text(columnSpacing)
	if err != nil {
		return c, err
	}
	c.SpacingMM, err = strconv.ParseFloat(cell, 64)
	switch {
	case err != nil || math.IsNaN(c.SpacingMM):
		return c, wrong(columnSpacing, cell, "not a number")
	case c.SpacingMM < 0:
		return c, wrong(columnSpacing, cell, "must be 0 or more")
	case c.SpacingMM > farthestMM:
		return c, wrong(columnSpacing, cell, fmt.Sprintf("must be %g or less", farthestMM))
	}
	if c.Presented, err = count(columnPresented); err != nil {
		return c, err
	}
	if c.Read, err = count(columnRead); err != nil {
		return c, err
	}
	if c.Read > c.Presented {
		return c, wrong(columnRead, strconv.Itoa(c.Read), fmt.Sprintf("more than the %d presented", c.Presented))
	}
	return c, nil
}

// skipMark leaves out the byte order mark that some programs write first.
func skipMark(r io.Reader) io.Reader {
	first := make([]byte, 3)
	n, err := io.ReadFull(r, first)
	if err == nil && string(first) == "\ufeff" {
		return r
	}
	rest := io.MultiReader(strings.NewReader(string(first[:n])), r)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return io.MultiReader(strings.NewReader(string(first[:n])), failing{err})
	}
	return rest
}

// A failing reader goes on with the error that came too early.
type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }
