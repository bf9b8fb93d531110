package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	_ "modernc.org/sqlite"

	"propwright/checklist/plan"
	"propwright/checklist/store"
	"propwright/checklist/store/storetest"
)

func create(t *testing.T, path string) *store.SQLite {
	t.Helper()
	s, err := store.Create(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func open(t *testing.T, path string) *store.SQLite {
	t.Helper()
	s, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func TestSQLiteDoesWhatAStoreMust(t *testing.T) {
	storetest.Test(t, func(t *testing.T) storetest.Opener {
		path := filepath.Join(t.TempDir(), "site.db")
		create(t, path)
		return func(t *testing.T) plan.Store { return open(t, path) }
	})
}

// A path is a path, whatever a database's address would make of it.
func TestSQLitePathsAreTakenAsTheyAre(t *testing.T) {
	for _, name := range []string{"site.db", "a b.db", "50%20.db", "what?mode=memory.db", "no#1.db", "bell-ÄÖ.db"} {
		if runtime.GOOS == "windows" && strings.ContainsAny(name, "?") {
			continue // no name for a file there
		}
		dir := t.TempDir()
		path := filepath.Join(dir, name)
		if err := create(t, path).Close(); err != nil {
			t.Fatal(err)
		}
		full, err := storetest.Full()
		if err != nil {
			t.Fatal(err)
		}
		s := open(t, path)
		if err := s.Change(t.Context(), func(p *plan.Plan) error { *p = full; return nil }); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		entries, err := os.ReadDir(dir)
		if err != nil || len(entries) != 1 || entries[0].Name() != name {
			t.Errorf("%q: the folder holds %v, %v; want the one file", name, entries, err)
		}
	}
}

func TestSQLiteFileIsItsOwnersOnly(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such permissions on Windows")
	}
	path := filepath.Join(t.TempDir(), "site.db")
	create(t, path)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("permissions %v, %v; want -rw-------, since UIDs are keys", info.Mode(), err)
	}
}

// What another program writes past the rules in Go, the tables refuse.
func TestSQLiteTablesGuardToo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.db")
	s := create(t, path)
	full, err := storetest.Full()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Change(t.Context(), func(p *plan.Plan) error { *p = full; return nil }); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", path+"?_pragma=foreign_keys(1)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for name, statement := range map[string]string{
		"coil of another reader":       "UPDATE reader SET coil = 117 WHERE board = 'rdr-07' AND idx = 1",
		"MAC of another board":         "UPDATE board SET mac = '02:54:57:00:00:57' WHERE name = 'rdr-08'",
		"address of another board":     "UPDATE board SET ip = '10.77.0.57', ip_bits = 24, network = 'show' WHERE name = 'rdr-08'",
		"address without its network":  "UPDATE board SET ip = '10.77.0.58' WHERE name = 'rdr-08'",
		"controller's address twice":   "UPDATE controller SET address = '10.77.0.10', port = 1502, unit = 2, network = 'show' WHERE name = 'bay-2'",
		"board of another prop":        "UPDATE prop SET board = 'rdr-07' WHERE name = 'chart-table'",
		"board that is none":           "UPDATE prop SET board = 'rdr-99' WHERE name = 'chart-table'",
		"UID of another tag":           "UPDATE tag SET uid = '5C0A91E3' WHERE name = 'stranger-1'",
		"prop that is none":            "UPDATE tag SET prop = 'ship-log' WHERE name = 'bell-clapper'",
		"reader on another controller": "UPDATE reader SET controller = 'bay-2' WHERE board = 'rdr-07' AND idx = 0",
		"board with readers taken out": "DELETE FROM board WHERE name = 'rdr-07'",
		"base that is none":            "UPDATE controller SET base = 2 WHERE name = 'bay-1'",
		"thing that no coil drives":    "UPDATE prop SET drives = 'lamp' WHERE name = 'chart-table'",
	} {
		if r, err := db.ExecContext(t.Context(), statement); err == nil {
			n, _ := r.RowsAffected()
			t.Errorf("%s: taken, %d rows", name, n)
		} else if !strings.Contains(err.Error(), "constraint") {
			t.Errorf("%s: %v; want a constraint", name, err)
		}
	}
}

// Each error is one line: the file, and why.
func TestSQLiteErrors(t *testing.T) {
	dir := t.TempDir()
	path := func(name string) string { return filepath.Join(dir, name) }
	create(t, path("site.db"))
	if err := os.WriteFile(path("text.db"), bytes.Repeat([]byte("no database "), 100), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path("empty.db"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(path("folder.db"), 0o700); err != nil {
		t.Fatal(err)
	}
	create(t, path("newer.db"))
	newer, err := sql.Open("sqlite", path("newer.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer newer.Close()
	if _, err := newer.ExecContext(t.Context(), "UPDATE propwright_schema SET version = 4"); err != nil {
		t.Fatal(err)
	}
	tests := map[string]struct {
		do   func(context.Context, string) (*store.SQLite, error)
		want string
	}{
		"text.db":          {store.Open, "no database"},
		"empty.db":         {store.Open, "holds no site's plan"},
		"folder.db":        {store.Open, "is a folder"},
		"newer.db":         {store.Open, "made by another version of the program (schema 4, this one knows 3)"},
		"none.db":          {store.Open, "no such file"},
		"site.db":          {store.Create, "exists"},
		"nowhere/site.db":  {store.Create, "no such file"},
		"text.db/site.db":  {store.Create, "not a directory"},
		"text.db/again.db": {store.Open, "not a directory"},
	}
	for name, tt := range tests {
		if runtime.GOOS == "windows" && strings.Contains(name, "/") {
			continue // worded otherwise there
		}
		s, err := tt.do(t.Context(), path(name))
		if err == nil {
			s.Close()
			t.Errorf("%s: no error, want %q", name, tt.want)
			continue
		}
		e, ok := errors.AsType[*store.Error](err)
		if !ok || e.Path != path(name) || !strings.Contains(err.Error(), tt.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v; want the path and %q on one line", name, err, tt.want)
		}
	}
	if _, err := os.Stat(path("none.db")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("opening made a file: %v", err)
	}
}

// A file that cannot be written is read all the same, and a change says so. The
// database itself is told to refuse, since no permission stops the superuser.
func TestSQLiteThatCannotBeWritten(t *testing.T) {
	if os.Geteuid() == 0 || runtime.GOOS == "windows" {
		t.Skip("permissions do not stop this user")
	}
	path := filepath.Join(t.TempDir(), "site.db")
	if err := create(t, path).Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o400); err != nil {
		t.Fatal(err)
	}
	s := open(t, path)
	if _, err := s.Load(t.Context()); err != nil {
		t.Errorf("Load: %v", err)
	}
	err := s.Change(t.Context(), func(p *plan.Plan) error { return p.Add(plan.KindBoard, "rdr-07") })
	if _, ok := errors.AsType[*store.Error](err); !ok || !strings.Contains(err.Error(), "cannot be written") {
		t.Errorf("Change: %v; want that it cannot be written", err)
	}
}

// A site's file may be cut or changed by a bad disk: an error or a plan that
// obeys the rules, and no panic.
func FuzzSQLiteFile(f *testing.F) {
	path := filepath.Join(f.TempDir(), "site.db")
	s, err := store.Create(context.Background(), path)
	if err != nil {
		f.Fatal(err)
	}
	full, err := storetest.Full()
	if err != nil {
		f.Fatal(err)
	}
	if err := s.Change(context.Background(), func(p *plan.Plan) error { *p = full; return nil }); err != nil {
		f.Fatal(err)
	}
	if err := s.Close(); err != nil {
		f.Fatal(err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(uint32(0), byte(0xFF), uint32(len(good)))
	f.Add(uint32(100), byte(0x01), uint32(len(good)))
	f.Add(uint32(5000), byte(0x80), uint32(4096))
	f.Fuzz(func(t *testing.T, at uint32, flip byte, size uint32) {
		text := bytes.Clone(good)
		text[int(at)%len(text)] ^= flip
		text = text[:min(int(size), len(text))]
		path := filepath.Join(t.TempDir(), "site.db")
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := store.Open(t.Context(), path)
		if err != nil {
			return
		}
		defer s.Close()
		if p, err := s.Load(t.Context()); err == nil {
			_, _ = p.Item("harbour-bell")
			_ = p.Check()
		}
	})
}
