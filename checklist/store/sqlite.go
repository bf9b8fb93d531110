package store

import (
	"context"
	"database/sql"
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
)

//go:embed schema.sql
var schema string

// schemaVersion is that of schema.sql.
const schemaVersion = 3

// SQLite is a plan store in one file. It is safe for concurrent use, also by
// several programs: one writes at a time and the others wait up to 5 s.
type SQLite struct {
	db   *sql.DB
	path string
}

// Create makes the file, which must not be there, readable and writable by its
// owner only because tags' UIDs are keys.
func Create(ctx context.Context, path string) (*SQLite, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, storeError(path, err)
	}
	if err := f.Close(); err != nil {
		return nil, storeError(path, err)
	}
	s, err := connect(path)
	if err == nil {
		err = s.inTx(ctx, nil, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, schema); err != nil {
				return storeError(path, err)
			}
			return nil
		})
	}
	if err != nil {
		if s != nil {
			s.db.Close()
		}
		os.Remove(path) // nothing is in it
		return nil, err
	}
	return s, nil
}

// Open opens a file that Create made, and brings one of an older program up to
// date. It refuses one of a newer program.
func Open(ctx context.Context, path string) (*SQLite, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, storeError(path, err)
	case info.IsDir():
		return nil, storeError(path, errors.New("is a folder"))
	}
	s, err := connect(path)
	if err != nil {
		return nil, err
	}
	version, err := s.version(ctx)
	if err == nil {
		err = s.upgrade(ctx, version)
	}
	if err != nil {
		s.db.Close()
		return nil, err
	}
	return s, nil
}

// Close lets go of the file.
func (s *SQLite) Close() error {
	if err := s.db.Close(); err != nil {
		return storeError(s.path, err)
	}
	return nil
}

func connect(path string) (*SQLite, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, storeError(path, err)
	}
	abs = filepath.ToSlash(abs)
	if !strings.HasPrefix(abs, "/") {
		abs = "/" + abs // a drive letter
	}
	// The rollback journal stays on: one writer needs no more, a closed site is one
	// file to copy, and it works on the network drives that venues use. Writes are
	// synced in full before a change counts as done.
	dsn := url.URL{Scheme: "file", Path: abs, RawQuery: "mode=rw&_txlock=immediate" +
		"&_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)&_pragma=synchronous(FULL)&_pragma=trusted_schema(0)"}
	db, err := sql.Open("sqlite", dsn.String())
	if err != nil {
		return nil, storeError(path, err)
	}
	db.SetMaxOpenConns(1)
	return &SQLite{db: db, path: path}, nil
}

// version is the schema of the file, which must be one that this program knows.
func (s *SQLite) version(ctx context.Context) (version int, err error) {
	var tables int
	err = s.db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'propwright_schema'").Scan(&tables)
	if err == nil && tables == 0 {
		err = errors.New("holds no site's plan")
	}
	if err == nil {
		err = s.db.QueryRowContext(ctx, "SELECT version FROM propwright_schema").Scan(&version)
	}
	if err == nil && (version < 1 || version > schemaVersion) {
		err = fmt.Errorf("made by another version of the program (schema %d, this one knows %d)", version, schemaVersion)
	}
	if err != nil {
		return 0, storeError(s.path, err)
	}
	return version, nil
}

// inTx runs do in a transaction, which it ends either way. Without options it is
// one that nobody else can write beside.
func (s *SQLite) inTx(ctx context.Context, opts *sql.TxOptions, do func(*sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, opts)
	if err != nil {
		return storeError(s.path, err)
	}
	if err := do(tx); err != nil {
		tx.Rollback() // the first error is the one that counts
		return err
	}
	if err := tx.Commit(); err != nil {
		return storeError(s.path, err)
	}
	return nil
}

// An Error is a store that does not work: the file and why. A change that breaks
// the plan's rules is none.
type Error struct {
	Path string
	Err  error
}

func (e *Error) Error() string { return fmt.Sprintf("store %q: %v", e.Path, e.Err) }

// Unwrap is the reason.
func (e *Error) Unwrap() error { return e.Err }

// storeError names the file and says in plain words why it does not work.
func storeError(path string, err error) error {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		return &Error{path, sqliteReason{e}}
	}
	if e, ok := errors.AsType[*fs.PathError](err); ok {
		return &Error{path, e.Err} // it would name the path once more
	}
	return &Error{path, err}
}

// sqliteReason puts the database's result codes (sqlite.org/rescode.html) into
// words.
type sqliteReason struct{ err *sqlite.Error }

func (r sqliteReason) Unwrap() error { return r.err }

func (r sqliteReason) Error() string {
	switch r.err.Code() & 0xFF {
	case 5, 6:
		return "another program is writing to it"
	case 8:
		return "cannot be written"
	case 11:
		return "damaged"
	case 13:
		return "no room on the disk"
	case 14:
		return "it, or its journal in the same folder, cannot be opened for writing"
	case 19:
		return "refused by a rule of the database: " + r.err.Error()
	case 26:
		return "no database"
	}
	return r.err.Error()
}
