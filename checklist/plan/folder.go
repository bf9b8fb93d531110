package plan

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// ErrNoSite says that a folder is no site's.
var ErrNoSite = errors.New("no site here, there is no site.toml")

// ErrSiteExists says that a new site would overwrite something.
var ErrSiteExists = errors.New("there already")

const (
	siteFileName   = "site.toml"
	fingerprintKey = "fingerprint.key"
	fingerprintLen = 32
)

// A Folder is a site's folder.
type Folder struct {
	Dir  string
	File SiteFile
}

// OpenFolder reads a site's settings. Without a site file the error wraps
// ErrNoSite.
func OpenFolder(dir string) (Folder, error) {
	path := filepath.Join(dir, siteFileName)
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Folder{}, fmt.Errorf("site %q: %w", dir, ErrNoSite)
	}
	if err != nil {
		return Folder{}, pathError("site", dir, err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxSiteFile+1))
	if err != nil {
		return Folder{}, pathError("site", dir, err)
	}
	file, err := ParseSiteFile(path, text)
	if err != nil {
		return Folder{}, err
	}
	return Folder{dir, file}, nil
}

// StorePath is the store's file; ok is false where the store is a server.
func (f Folder) StorePath() (path string, ok bool) {
	if strings.Contains(f.File.Store, "://") {
		return "", false
	}
	return filepath.Join(f.Dir, f.File.Store), true
}

// Keys is the folder of the site's keys.
func (f Folder) Keys() string { return filepath.Join(f.Dir, "keys") }

// Reports is the folder of the site's bundles.
func (f Folder) Reports() string { return filepath.Join(f.Dir, "reports") }

// Procedures is where the site may have procedures of its own.
func (f Folder) Procedures() string { return filepath.Join(f.Dir, "procedures") }

// FingerprintKey is the secret under which tags are shown by a fingerprint.
func (f Folder) FingerprintKey() ([]byte, error) {
	path := filepath.Join(f.Keys(), fingerprintKey)
	key, err := os.ReadFile(path)
	if err != nil {
		return nil, pathError("fingerprint key", path, err)
	}
	if len(key) != fingerprintLen {
		return nil, fmt.Errorf("fingerprint key %q: %d bytes, must be %d", path, len(key), fingerprintLen)
	}
	return key, nil
}

// An Init is what making a folder needs from outside.
type Init struct {
	Rand io.Reader
	// Store makes the store's file; nil makes none.
	Store func(path string) error
	// Keys makes the signing keys in a folder; nil makes none.
	Keys func(dir string) error
}

// InitFolder makes a site's folder. It overwrites nothing: where a part of a site
// is there the error wraps ErrSiteExists. What was made before an error is taken
// away again. The site file comes last, so that no half-made folder is a site.
func InitFolder(dir string, file SiteFile, in Init) (f Folder, err error) {
	f = Folder{dir, file}
	if _, err := file.check(); err != nil {
		return Folder{}, fmt.Errorf("site %q: %w", dir, err)
	}
	made := &made{}
	defer func() {
		if err != nil {
			made.undo()
			f, err = Folder{}, pathError("site", dir, err)
		}
	}()
	if err := made.root(dir); err != nil {
		return f, err
	}
	if err := f.vacant(); err != nil {
		return f, err
	}
	if err := f.makeKeys(made, in); err != nil {
		return f, err
	}
	if _, err := os.Stat(f.Reports()); errors.Is(err, fs.ErrNotExist) {
		if err := made.dir(f.Reports(), 0o777); err != nil {
			return f, err
		}
	}
	if store, local := f.StorePath(); local && in.Store != nil {
		made.paths = append(made.paths, store)
		if err := in.Store(store); err != nil {
			return f, err
		}
	}
	return f, made.file(filepath.Join(dir, siteFileName), file.Text(), 0o666)
}

// vacant says whether nothing is where the parts of a site would go.
func (f Folder) vacant() error {
	parts := []string{filepath.Join(f.Dir, siteFileName), f.Keys()}
	if store, local := f.StorePath(); local {
		parts = append(parts, store)
	}
	for _, path := range parts {
		if _, err := os.Lstat(path); err == nil {
			return fmt.Errorf("%s: %w", filepath.Base(path), ErrSiteExists)
		}
	}
	return nil
}

// makeKeys makes the folder of keys and what lies in it.
func (f Folder) makeKeys(m *made, in Init) error {
	if err := m.dir(f.Keys(), 0o700); err != nil {
		return err
	}
	key := make([]byte, fingerprintLen)
	if _, err := io.ReadFull(in.Rand, key); err != nil {
		return fmt.Errorf("random bytes: %w", err)
	}
	if err := m.file(filepath.Join(f.Keys(), fingerprintKey), key, 0o600); err != nil {
		return err
	}
	if in.Keys == nil {
		return nil
	}
	return in.Keys(f.Keys())
}

// made remembers what can be taken away again.
type made struct{ paths []string }

// root makes the folder that all goes into, and remembers it where it is new.
func (m *made) root(dir string) error {
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
		m.paths = append(m.paths, dir)
	}
	return os.MkdirAll(dir, 0o777)
}

func (m *made) dir(path string, perm fs.FileMode) error {
	if err := os.Mkdir(path, perm); err != nil {
		return err
	}
	m.paths = append(m.paths, path)
	return nil
}

func (m *made) file(path string, text []byte, perm fs.FileMode) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, perm)
	if err != nil {
		return err
	}
	m.paths = append(m.paths, path)
	_, err = f.Write(text)
	return first(err, f.Sync(), f.Close())
}

// undo removes what was made. All of it is ours and minutes old at most, so what
// keys and store functions left in the folders goes too.
func (m *made) undo() {
	for i := len(m.paths) - 1; i >= 0; i-- {
		os.RemoveAll(m.paths[i])
	}
}

// pathError names a thing and says why it does not work, without naming its path
// twice.
func pathError(what, path string, err error) error {
	if e, ok := errors.AsType[*fs.PathError](err); ok {
		if e.Path != path {
			return fmt.Errorf("%s %q: %s: %w", what, path, filepath.Base(e.Path), e.Err)
		}
		return fmt.Errorf("%s %q: %w", what, path, e.Err)
	}
	return fmt.Errorf("%s %q: %w", what, path, err)
}
