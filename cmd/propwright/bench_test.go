//go:build linux

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The bench's network for real: in network namespaces of the test's own, with the
// stock ip program, whose commands are those that bench prints.
func TestTheCommandsForTheBenchWorkInANetworkOfItsOwn(t *testing.T) {
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
	t.Parallel() // it waits a quarter of a minute for a tag that nobody shows
	const tidy = `
name = "tidy"
[[step]]
id = "clean-up"
sitting = "bench"
check = "clean-up-site"
[step.params]
on_within = 0.1
off_within = 0.1
`
	if err := os.MkdirAll(site.Procedures(), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(site.Procedures(), "tidy.toml"), []byte(tidy), 0o600); err != nil {
		t.Fatal(err)
	}
	script, err := filepath.Abs(filepath.Join("testdata", "bench_network.sh"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "answers.toml"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "unshare", "-rnm", "sh", script, buildProgram(t), site.Dir)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	said := string(out)
	for _, want := range []string{
		"free: status 1, owner '', trouble ''",
		"add: sudo ip address add 10.77.0.10/24 dev eth9",
		"undo: sudo ip address del 10.77.0.10/24 dev eth9",
		"another computer: status 1, owner '', trouble 'something answers at 10.77.0.10 already",
		"given: status 0, owner 'eth9', trouble ''",
		"reminder: => If it was given to this computer for this, take the controller's address off again: sudo ip address del 10.77.0.10/24 dev eth9",
		"taken back: status 1, owner '', trouble ''",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("never said %q", want)
		}
	}
	if t.Failed() {
		t.Log(said)
	}
}
