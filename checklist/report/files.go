package report

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Names of a bundle's files.
const (
	FileReport    = "report.json"
	FileSignature = "report.json.sig"
	FileHTML      = "report.html"
	FileConsole   = "console.raw"
	FileArrivals  = "arrivals.csv"
	FileEvents    = "events.jsonl"
	FileFrames    = "link.jsonl"
	FileJournal   = "journal.jsonl"
	FileProcedure = "procedure.toml"
	FileSigners   = "allowed_signers"
)

// undigested are the files that a report cannot hold the digest of: itself and
// what is made from it. Verify checks them in other ways.
func undigested() []string { return []string{FileReport, FileSignature, FileHTML} }

// required are the files that no bundle can do without.
func required() []string {
	return []string{FileConsole, FileEvents, FileFrames, FileJournal, FileSigners}
}

// growing are the files that a later sitting only adds to, so that an earlier
// report's digest still holds for their beginning.
func growing() []string { return []string{FileConsole, FileArrivals, FileJournal} }

// Digest returns the digest of bytes as reports write it, "sha256:" and the hex of
// SHA-256.
func Digest(b []byte) string {
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:])
}

// listFiles returns the names in a bundle folder, in order. A sub-folder, a link
// or anything else that is no plain file is an error.
func listFiles(dir string) ([]string, error) {
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("bundle: %w", err)
	}
	var names []string
	var strange []error
	for _, e := range list {
		if !e.Type().IsRegular() {
			strange = append(strange, fmt.Errorf("bundle: %q: not a plain file", e.Name()))
			continue
		}
		names = append(names, e.Name())
	}
	return names, errors.Join(strange...)
}

// digestFiles returns the record of every file in the folder that report.json
// answers for.
func digestFiles(dir string) ([]File, error) {
	names, err := listFiles(dir)
	if err != nil {
		return nil, err
	}
	files := []File{}
	for _, name := range names {
		if slices.Contains(undigested(), name) {
			continue
		}
		if !fileName(name) {
			return nil, fmt.Errorf("bundle: %q: no name for a file of a bundle", name)
		}
		f, err := digestFile(filepath.Join(dir, name), -1)
		if err != nil {
			return nil, fmt.Errorf("bundle: %w", err)
		}
		f.Name = name
		files = append(files, f)
	}
	return files, nil
}

// fileName reports whether a name is one that a report may declare: it cannot
// lead out of the folder nor hide in it.
func fileName(name string) bool {
	for i, r := range name {
		ok := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || i > 0 && (r == '.' || r == '-')
		if !ok {
			return false
		}
	}
	return name != "" && len(name) <= 100
}

// digestFile reads a file, or its first n bytes where n is not negative.
func digestFile(path string, n int64) (File, error) {
	f, err := os.Open(path)
	if err != nil {
		return File{}, err
	}
	defer f.Close() // only read from
	var r io.Reader = f
	if n >= 0 {
		r = io.LimitReader(f, n)
	}
	h := sha256.New()
	size, err := io.Copy(h, r)
	if err != nil {
		return File{}, err
	}
	return File{Bytes: Int(size), Digest: "sha256:" + hex.EncodeToString(h.Sum(nil))}, nil
}

// replaceFile puts content under a name so that a reader, or a crash, finds
// either the old file or the whole new one.
func replaceFile(dir, name string, content []byte) (err error) {
	tmp, err := os.CreateTemp(dir, "."+name+".*")
	if err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("bundle: %w", errors.Join(err, ignoreGone(os.Remove(tmp.Name()))))
		}
	}()
	_, err = tmp.Write(content)
	if err == nil {
		err = tmp.Sync()
	}
	if err = errors.Join(err, tmp.Close()); err != nil {
		return err
	}
	if err = os.Rename(tmp.Name(), filepath.Join(dir, name)); err != nil {
		return err
	}
	return syncDir(dir)
}

// syncDir makes a rename survive a power cut where the system can do that to a
// folder; where it cannot (Windows), the rename is as safe as it gets.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	_ = d.Sync()
	return d.Close()
}

// sweep takes away what a crash in replaceFile left behind.
func sweep(dir string) error {
	list, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	for _, e := range list {
		for _, name := range append(undigested(), FileEvents, FileFrames, FileSigners, FileConsole) {
			if e.Type().IsRegular() && strings.HasPrefix(e.Name(), "."+name+".") {
				if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
					return fmt.Errorf("bundle: %w", err)
				}
			}
		}
	}
	return nil
}

func ignoreGone(err error) error {
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}
