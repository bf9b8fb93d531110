package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"propwright/checklist"
)

// The files of a batch's folder, besides what was heard while boards were waited for.
const (
	batchState   = "batch.json"
	batchSummary = "summary.json"
)

// A batchFile is a batch on disk: who belongs to it. How far each has come its own
// run tells.
type batchFile struct {
	Version   int            `json:"batch"` // of this format
	Number    int            `json:"number"`
	Procedure string         `json:"procedure"`
	Members   []*batchMember `json:"members"`

	dir     string
	reports string
}

// batchVersion is the version of the file's format.
const batchVersion = 1

// A batchMember is a board of a batch.
type batchMember struct {
	Prop  string `json:"prop"`
	Board string `json:"board"`
	MAC   string `json:"mac,omitempty"` // as planned
	Run   int    `json:"run"`
	// LeftOut is why the person left the board out of what is still to come.
	LeftOut string `json:"left_out,omitempty"`
}

func batchesDir(st *sitePlan) string { return filepath.Join(st.Dir, "batches") }

// makeBatch makes the folder of a new batch and a numbered run for each member.
func makeBatch(batches, reports string, p checklist.Procedure, members []*batchMember) (*batchFile, error) {
	if err := os.MkdirAll(batches, 0o700); err != nil {
		return nil, err
	}
	f := &batchFile{Version: batchVersion, Procedure: p.Name, Members: members, reports: reports}
	for f.Number = lastBatchNumber(batches) + 1; ; f.Number++ {
		f.dir = filepath.Join(batches, fmt.Sprintf("%04d", f.Number))
		err := os.Mkdir(f.dir, 0o700)
		if err == nil {
			break
		}
		if !errors.Is(err, fs.ErrExist) {
			return nil, err
		}
	}
	for _, m := range members {
		run, err := newRunFolder(reports, m.Prop, p)
		if err != nil {
			return nil, err
		}
		m.Run = run.number
		if err := run.journal.Close(); err != nil {
			return nil, err
		}
	}
	return f, f.save()
}

// lastBatchNumber is the highest number of a batch, 0 where there is none.
func lastBatchNumber(batches string) int {
	found, err := os.ReadDir(batches)
	if err != nil {
		return 0
	}
	last := 0
	for _, e := range found {
		if n, err := strconv.Atoi(e.Name()); err == nil {
			last = max(last, n)
		}
	}
	return last
}

// lastBatch reads the newest batch.
func lastBatch(batches, reports string) (*batchFile, error) {
	n := lastBatchNumber(batches)
	if n == 0 {
		return nil, errors.New("there is none to go on with")
	}
	f := &batchFile{dir: filepath.Join(batches, fmt.Sprintf("%04d", n)), reports: reports}
	path := filepath.Join(f.dir, batchState)
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(text, f); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if f.Version != batchVersion {
		return nil, fmt.Errorf("%s: field batch: version %d, this program knows %d", path, f.Version, batchVersion)
	}
	if len(f.Members) == 0 {
		return nil, fmt.Errorf("%s: field members: missing", path)
	}
	for i, m := range f.Members {
		if m == nil || m.Prop == "" || m.Run < 1 {
			return nil, fmt.Errorf("%s: field members: number %d has no prop or no run", path, i+1)
		}
	}
	return f, nil
}

func (f *batchFile) save() error { return f.write(batchState, f) }

// write puts a file of the batch in place whole.
func (f *batchFile) write(name string, v any) error {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return replaceFile(filepath.Join(f.dir, name), append(text, '\n'))
}

// folder opens a member's run.
func (f *batchFile) folder(m *batchMember) (*runFolder, error) {
	return openRunFolder(filepath.Join(f.reports, runName(m.Run, m.Prop)))
}
