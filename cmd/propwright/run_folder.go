package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"propwright/checklist"
	"propwright/checklist/report"
)

// A runFolder is one numbered run on disk: the journal, the console, and in the
// end the report.
type runFolder struct {
	dir       string
	number    int
	procedure checklist.Procedure
	journal   *checklist.Journal
	entries   []checklist.Entry // what the journal held when it was opened
	pending   *checklist.Entry  // a change that is about to be put on record
	proposed  string            // why a new run follows the procedure that it does, where nobody chose it
}

// newRunFolder makes the folder of the next run below reports. Making a folder
// either succeeds for one process or fails, so two cannot get the same number.
func newRunFolder(reports, prop string, p checklist.Procedure) (*runFolder, error) {
	number, err := lastNumber(reports)
	if err != nil {
		return nil, err
	}
	for {
		number++
		dir := filepath.Join(reports, runName(number, prop))
		err := os.Mkdir(dir, 0o700)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if err := os.WriteFile(filepath.Join(dir, report.FileProcedure), p.Text, 0o600); err != nil {
			return nil, err
		}
		return openRunFolder(dir)
	}
}

// lastNumber is the highest number of a run below reports, 0 when there is none.
func lastNumber(reports string) (int, error) {
	found, err := os.ReadDir(reports)
	if err != nil {
		return 0, err
	}
	last := 0
	for _, f := range found {
		if n, _, ok := splitRunName(f.Name()); ok {
			last = max(last, n)
		}
	}
	return last, nil
}

// runName is the name of a run folder.
func runName(number int, prop string) string { return fmt.Sprintf("%04d-%s", number, prop) }

// splitRunName reads the name of a run folder, NUMBER-PROP.
func splitRunName(name string) (number int, prop string, ok bool) {
	digits, prop, found := strings.Cut(name, "-")
	number, err := strconv.Atoi(digits)
	return number, prop, found && err == nil && number > 0
}

// latestRunFolder is the newest run of a prop; "" when there is none.
func latestRunFolder(reports, prop string) (string, error) {
	found, err := os.ReadDir(reports)
	if err != nil {
		return "", err
	}
	dir, last := "", 0
	for _, f := range found {
		if n, p, ok := splitRunName(f.Name()); ok && p == prop && n > last {
			dir, last = filepath.Join(reports, f.Name()), n
		}
	}
	return dir, nil
}

// openRunFolder opens a run and holds it against a second process.
func openRunFolder(dir string) (*runFolder, error) {
	number, _, ok := splitRunName(filepath.Base(dir))
	if !ok {
		return nil, fmt.Errorf("run %q: the folder's name is no NUMBER-PROP", dir)
	}
	text, err := os.ReadFile(filepath.Join(dir, report.FileProcedure))
	if err != nil {
		return nil, err
	}
	p, err := checklist.ParseProcedure(filepath.Join(dir, report.FileProcedure), text)
	if err != nil {
		return nil, err
	}
	journal, entries, err := checklist.OpenJournal(filepath.Join(dir, report.FileJournal))
	if err != nil {
		return nil, err
	}
	f := &runFolder{dir: dir, number: number, procedure: p, journal: journal, entries: entries}
	if h := f.header(); h != nil {
		f.procedure = p.Of(h.Item)
	}
	return f, nil
}

// before are the prop's runs before this one: as they stood when it began, or for
// one that has not begun as they stand now.
func (f *runFolder) before() ([]checklist.Prior, error) {
	if h := f.header(); h != nil {
		return h.Before, nil
	}
	_, prop, _ := splitRunName(filepath.Base(f.dir))
	return priorRuns(filepath.Dir(f.dir), prop, f.number)
}

// header is what the run began with; nil for a run that has not begun.
func (f *runFolder) header() *checklist.RunHeader {
	for _, e := range f.entries {
		if e.Run != nil {
			return e.Run
		}
	}
	return nil
}

// open returns the steps of a sitting that are not decided.
func (f *runFolder) open(sitting checklist.Sitting) []checklist.Step {
	decided := checklist.Outcomes(f.known(), f.procedure)
	var open []checklist.Step
	for _, s := range f.procedure.Sitting(sitting) {
		if _, done := decided[s.Place()]; !done {
			open = append(open, s)
		}
	}
	return open
}

// due is the sitting whose turn it is: the bench until all its steps are decided
// and reported, then the site; "" when nothing is left.
func (f *runFolder) due() checklist.Sitting {
	for _, sitting := range f.procedure.Sittings() {
		if len(f.open(sitting)) > 0 || !f.reported(sitting) {
			return sitting
		}
	}
	return ""
}

// reported reports whether the signed report of a sitting was written whole. The
// page comes last, so a process that was ended on the way has not left it.
func (f *runFolder) reported(sitting checklist.Sitting) bool {
	text, err := os.ReadFile(filepath.Join(f.dir, report.FileReport))
	if err != nil {
		return false
	}
	m, err := report.Parse(text)
	if err != nil {
		return false
	}
	page, err := os.ReadFile(filepath.Join(f.dir, report.FileHTML))
	if err != nil {
		return false
	}
	want, err := report.RenderHTML(text)
	if err != nil || !bytes.Equal(page, want) {
		return false
	}
	return slices.ContainsFunc(m.Sittings, func(s report.Sitting) bool { return s.Sitting == sitting && s.Signed != nil })
}

// benchPassed reports whether every step of the bench has passed, or may be left
// out and was.
func (f *runFolder) benchPassed() bool {
	decided := checklist.Outcomes(f.known(), f.procedure)
	for _, s := range f.procedure.Sitting(checklist.Bench) {
		v := decided[s.Place()].Verdict
		if v != checklist.Passed && !(v == checklist.Skipped && s.MaySkip) {
			return false
		}
	}
	return true
}

// consumed is where in the console the journal's events end, and the number and
// line of the last of them.
func (f *runFolder) consumed() (offset int64, seq uint64, line int) {
	for _, e := range f.entries {
		if e.Event == nil {
			continue
		}
		seq = max(seq, e.Event.Seq)
		if e.Event.Raw != nil {
			offset = max(offset, e.Event.Offset+e.Event.Size())
			line = max(line, e.Event.Lines[1])
		}
	}
	return offset, seq, line
}

// expire counts a change as on record already, to see what it opens again.
func (f *runFolder) expire(changed []string) {
	f.pending = &checklist.Entry{Type: checklist.EntryExpire, Changed: changed}
}

// known are the entries, with a change that is about to be put on record.
func (f *runFolder) known() []checklist.Entry {
	if f.pending == nil {
		return f.entries
	}
	return append(f.entries[:len(f.entries):len(f.entries)], *f.pending)
}
