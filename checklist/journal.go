package checklist

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
)

// A Journal is a log on disk: one entry a line, appended and never changed.
type Journal struct {
	f *os.File
}

// OpenJournal opens or makes the journal at path and returns the entries that it
// already holds. A last line that was cut in the middle, as a power cut leaves
// it, is taken off; anything else that cannot be read is an error that names the
// line, and the file is left as it is.
func OpenJournal(path string) (*Journal, []Entry, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, nil, fmt.Errorf("journal: %w", err)
	}
	entries, good, err := ReadJournal(f)
	if err == nil {
		err = f.Truncate(good)
	}
	if err == nil {
		_, err = f.Seek(good, io.SeekStart)
	}
	if err != nil {
		return nil, nil, errors.Join(fmt.Errorf("journal %q: %w", path, err), f.Close())
	}
	return &Journal{f: f}, entries, nil
}

// ReadJournal reads entries up to the end or to a last line without an end; good
// is how many bytes the whole lines take.
func ReadJournal(r io.Reader) (entries []Entry, good int64, err error) {
	br := bufio.NewReader(r)
	for {
		line, err := br.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			return entries, good, nil
		}
		if err != nil {
			return entries, good, err
		}
		var e Entry
		dec := json.NewDecoder(bytes.NewReader(line))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&e); err != nil {
			return entries, good, fmt.Errorf("line %d: %w", len(entries)+1, err)
		}
		if err := e.check(int64(len(entries)) + 1); err != nil {
			return entries, good, fmt.Errorf("line %d: %w", len(entries)+1, err)
		}
		entries = append(entries, e)
		good += int64(len(line))
	}
}

// check says whether the entry can stand as number n.
func (e Entry) check(n int64) error {
	if e.N != n {
		return fmt.Errorf("field n: %d, want %d", e.N, n)
	}
	present := map[EntryType]bool{
		EntryRun: e.Run != nil, EntryEvent: e.Event != nil, EntryFrame: e.Frame != nil,
		EntryInstruct: e.Instruct != nil, EntryAnswer: e.Answer != nil, EntryMeasure: e.Measure != nil,
		EntryVerdict: e.Outcome != nil, EntryReflash: e.Reflash != nil, EntryDiagnosis: e.Diagnosis != nil, EntryBegin: true, EntryExpire: true, EntryNote: true,
	}
	if !present[e.Type] {
		return fmt.Errorf("field type: %q: unknown, or without its record", e.Type)
	}
	return nil
}

// Keep appends an entry. The line is handed to the system in one write, so it
// survives the process being killed.
func (j *Journal) Keep(e Entry) error {
	line, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("journal: entry %d: %w", e.N, err)
	}
	if _, err := j.f.Write(append(line, '\n')); err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	return nil
}

// Sync waits until the disk has it all.
func (j *Journal) Sync() error {
	if err := j.f.Sync(); err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	return nil
}

// Close syncs and closes the journal.
func (j *Journal) Close() error { return errors.Join(j.Sync(), j.f.Close()) }
