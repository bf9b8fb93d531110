//go:build linux

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"propwright/checklist/plan"
)

// siteInNamespaces is a demo site for a test that makes network namespaces of its own
// with the stock programs; the test is left out where the system lets nobody.
func siteInNamespaces(t *testing.T) plan.Folder {
	t.Helper()
	for command, debian := range map[string]string{"ip": "iproute2", "unshare": "util-linux", "nsenter": "util-linux"} {
		if _, err := exec.LookPath(command); err != nil {
			missingPackage(t, debian)
		}
	}
	if text, err := exec.Command("unshare", "-rnm", "true").CombinedOutput(); err != nil {
		t.Skipf("this system lets nobody make a network namespace: %v: %s", err, text)
	}
	site, err := makeDemoSite(t.Context(), testDeps(), filepath.Join(t.TempDir(), "site"), "test key", demoOptions{})
	if err != nil {
		t.Fatal(err)
	}
	site.Close()
	return site.Folder
}

// asPrograms puts helpers into a folder, under their names.
func asPrograms(t *testing.T, dir string, names ...string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if err := os.Symlink(self, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
}

// runInNamespaces runs a script of testdata in a folder, with the program, the site and
// what else it wants as its arguments, and returns what it said.
func runInNamespaces(t *testing.T, dir, script string, site plan.Folder, more ...string) string {
	t.Helper()
	script, err := filepath.Abs(filepath.Join("testdata", script))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "unshare", append([]string{"-rnm", "sh", script, buildProgram(t), site.Dir}, more...)...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return string(out)
}
