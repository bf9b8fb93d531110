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
	columnTolerance = "tolerance_mm"
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

// Trials are what a file of trials holds.
type Trials struct {
	Counts     []estimate.Counts
	Tolerances []Tolerance // of the spacings, empty where the file has none
}

// ReadTrials reads counts from comma-separated text (RFC 4180) whose first line names
// the columns: spacing_mm, presented and read, in any order and with others beside
// them; of these tolerance_mm, how far off the spacing may be either way, is read where
// it is there, and the others are not looked at. Lines that begin with # are remarks.
// The error is a *TrialsError, or that of the reader; name is the file's in errors.
func ReadTrials(r io.Reader, name string) (Trials, error) {
	var all Trials
	err := readRows(r, name, []string{columnSpacing, columnPresented, columnRead}, func(t *trialsReader, cells []string) (presented int, err error) {
		var c estimate.Counts
		if c.SpacingMM, err = t.number(cells, columnSpacing, 0); err != nil {
			return 0, err
		}
		if c.Presented, c.Read, err = t.counts(cells); err != nil {
			return 0, err
		}
		if _, there := t.at[columnTolerance]; there {
			off := Tolerance{SpacingMM: c.SpacingMM}
			if off.ToleranceMM, err = t.number(cells, columnTolerance, 0); err != nil {
				return 0, err
			}
			all.Tolerances = append(all.Tolerances, off)
		}
		all.Counts = append(all.Counts, c)
		return c.Presented, nil
	})
	if err != nil {
		return Trials{}, err
	}
	return all, nil
}

// readRows reads a table with columns and gives take each row, which says how often
// something was presented in it.
func readRows(r io.Reader, name string, columns []string, take func(*trialsReader, []string) (int, error)) error {
	table := csv.NewReader(skipMark(r))
	table.Comment, table.TrimLeadingSpace, table.FieldsPerRecord, table.ReuseRecord = '#', true, -1, true
	t := &trialsReader{name: name, csv: table, columns: columns}
	if err := t.header(); err != nil {
		return err
	}
	trials := 0
	for rows := 1; ; rows++ {
		cells, err := table.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return t.broken(err)
		}
		if rows > mostRows {
			return &TrialsError{File: name, Line: t.line(0), Err: fmt.Errorf("more than %d rows", mostRows)}
		}
		n, err := take(t, cells)
		if err != nil {
			return err
		}
		trials += n
	}
	if trials == 0 {
		return &TrialsError{File: name, Err: errors.New("no trials: no row says that something was presented")}
	}
	return nil
}

type trialsReader struct {
	name    string
	csv     *csv.Reader
	columns []string       // that must be there
	at      map[string]int // column by name
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
		if _, twice := t.at[name]; twice && (name == columnTolerance || slices.Contains(t.columns, name)) {
			return &TrialsError{t.name, t.line(i), name, errors.New("there twice")}
		}
		t.at[name] = i
	}
	for _, name := range t.columns {
		if _, there := t.at[name]; !there {
			return &TrialsError{t.name, t.line(0), name, fmt.Errorf("missing; the first line must name %s, with commas between", strings.Join(t.columns, ", "))}
		}
	}
	return nil
}

// text is a cell that must not be empty.
func (t *trialsReader) text(cells []string, column string) (string, error) {
	i := t.at[column]
	if i >= len(cells) || strings.TrimSpace(cells[i]) == "" {
		return "", &TrialsError{t.name, t.line(0), column, errors.New("empty")}
	}
	return strings.TrimSpace(cells[i]), nil
}

func (t *trialsReader) wrong(column, cell, why string) error {
	return &TrialsError{t.name, t.line(t.at[column]), column, fmt.Errorf("%q: %s", cell, why)}
}

// number is a cell that holds millimetres from least to farthestMM.
func (t *trialsReader) number(cells []string, column string, least float64) (float64, error) {
	cell, err := t.text(cells, column)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(cell, 64)
	switch {
	case err != nil && !errors.Is(err, strconv.ErrRange), math.IsNaN(v):
		return 0, t.wrong(column, cell, "not a number")
	case v < least:
		return 0, t.wrong(column, cell, fmt.Sprintf("must be %g or more", least))
	case v > farthestMM:
		return 0, t.wrong(column, cell, fmt.Sprintf("must be %g or less", farthestMM))
	}
	return v, nil
}

// counts are the two cells that say how often something was presented and read.
func (t *trialsReader) counts(cells []string) (presented, read int, err error) {
	if presented, err = t.count(cells, columnPresented); err != nil {
		return 0, 0, err
	}
	if read, err = t.count(cells, columnRead); err != nil {
		return 0, 0, err
	}
	if read > presented {
		return 0, 0, t.wrong(columnRead, strconv.Itoa(read), fmt.Sprintf("more than the %d presented", presented))
	}
	return presented, read, nil
}

func (t *trialsReader) count(cells []string, column string) (int, error) {
	cell, err := t.text(cells, column)
	if err != nil {
		return 0, err
	}
	n, err := strconv.Atoi(cell)
	switch {
	case err != nil:
		return 0, t.wrong(column, cell, "not a whole number")
	case n < 0 || n > mostPresented:
		return 0, t.wrong(column, cell, fmt.Sprintf("must be 0 to %d", mostPresented))
	}
	return n, nil
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
