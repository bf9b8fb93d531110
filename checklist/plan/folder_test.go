package plan_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/plan"
)

var errNoRoom = errors.New("no room on the disk")

// initIn makes a folder whose store and keys are plain files.
func initIn(dir string, storeErr, keysErr error) (plan.Folder, error) {
	return plan.InitFolder(dir, plan.SiteFile{Name: "The Tidewater Rooms", Store: "site.db"}, plan.Init{
		Rand: bytes.NewReader(bytes.Repeat([]byte{7}, 32)),
		Store: func(path string) error {
			return errors.Join(os.WriteFile(path, []byte("store"), 0o600), storeErr)
		},
		Keys: func(keys string) error {
			return errors.Join(os.WriteFile(filepath.Join(keys, "signing.key"), []byte("key"), 0o600), keysErr)
		},
	})
}

// tree lists a folder: path and permissions.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	found := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if rel, _ := filepath.Rel(dir, path); rel != "." && err == nil {
			found[filepath.ToSlash(rel)] = info.Mode().String()
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestInitFolderMakesWhatOpenFolderReads(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tidewater")
	if _, err := initIn(dir, nil, nil); err != nil {
		t.Fatal(err)
	}
	f, err := plan.OpenFolder(dir)
	if err != nil || f.File.Name != "The Tidewater Rooms" {
		t.Fatalf("OpenFolder: %+v, %v", f, err)
	}
	key, err := f.FingerprintKey()
	if err != nil || !bytes.Equal(key, bytes.Repeat([]byte{7}, 32)) {
		t.Errorf("FingerprintKey: %x, %v; want the 32 random bytes", key, err)
	}
	got := tree(t, dir)
	want := []string{"keys", "keys/fingerprint.key", "keys/signing.key", "reports", "site.db", "site.toml"}
	var names []string
	for name := range got {
		names = append(names, name)
	}
	slices.Sort(names)
	if diff := cmp.Diff(want, names); diff != "" {
		t.Errorf("the folder holds (-want +got)\n%s", diff)
	}
	if runtime.GOOS != "windows" && (got["keys"] != "drwx------" || got["keys/fingerprint.key"] != "-rw-------") {
		t.Errorf("keys: %s, fingerprint.key: %s; others may read them", got["keys"], got["keys/fingerprint.key"])
	}
	if path, ok := f.StorePath(); !ok || path != filepath.Join(dir, "site.db") {
		t.Errorf("StorePath() = %q, %t", path, ok)
	}
}

func TestInitFolderOverwritesNothing(t *testing.T) {
	for _, there := range []string{"site.toml", "site.db", "keys"} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, there), []byte("mine"), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := initIn(dir, nil, nil)
		if !errors.Is(err, plan.ErrSiteExists) || !strings.Contains(err.Error(), there) {
			t.Errorf("with %s there: %v", there, err)
		}
		if text, err := os.ReadFile(filepath.Join(dir, there)); string(text) != "mine" || len(tree(t, dir)) != 1 {
			t.Errorf("%s afterwards: %q, %v; the folder: %v", there, text, err, tree(t, dir))
		}
	}
}

// A folder whose making fails half-way is as it was before.
func TestInitFolderLeavesNothingHalfMade(t *testing.T) {
	for name, fail := range map[string]func(string) error{
		"store": func(dir string) error { _, err := initIn(dir, errNoRoom, nil); return err },
		"keys":  func(dir string) error { _, err := initIn(dir, nil, errNoRoom); return err },
		"random": func(dir string) error {
			_, err := plan.InitFolder(dir, plan.SiteFile{Name: "T", Store: "site.db"}, plan.Init{Rand: strings.NewReader("short")})
			return err
		},
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "notes.txt"), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		err := fail(dir)
		if err == nil || !strings.HasPrefix(err.Error(), "site ") {
			t.Errorf("%s: %v", name, err)
		}
		if got := tree(t, dir); len(got) != 1 {
			t.Errorf("%s: left behind: %v", name, got)
		}
		fresh := filepath.Join(dir, "fresh")
		if err := fail(fresh); err == nil {
			t.Errorf("%s: no error in a new folder", name)
		}
		if _, err := os.Stat(fresh); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: the new folder is still there: %v", name, err)
		}
	}
}

func TestFolderErrors(t *testing.T) {
	dir := t.TempDir()
	if _, err := plan.OpenFolder(dir); !errors.Is(err, plan.ErrNoSite) {
		t.Errorf("OpenFolder without a site: %v", err)
	}
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := initIn(filepath.Join(file, "site"), nil, nil); err == nil || strings.Count(err.Error(), file) > 1 {
		t.Errorf("InitFolder below a file: %v", err)
	}
	if _, err := initIn(dir, nil, nil); err != nil {
		t.Fatal(err)
	}
	f, err := plan.OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	key := filepath.Join(f.Keys(), "fingerprint.key")
	if err := os.Truncate(key, 31); err != nil {
		t.Fatal(err)
	}
	if _, err := f.FingerprintKey(); err == nil || !strings.Contains(err.Error(), "31 bytes, must be 32") {
		t.Errorf("FingerprintKey cut short: %v", err)
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	if _, err := f.FingerprintKey(); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("FingerprintKey missing: %v", err)
	}
}
