//go:build linux

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The bench's network for real: in network namespaces of the test's own, with the
// stock ip program, whose commands are those that bench prints.
func TestTheCommandsForTheBenchWorkInANetworkOfItsOwn(t *testing.T) {
	site := siteInNamespaces(t)
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
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "answers.toml"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	said := runInNamespaces(t, dir, "bench_network.sh", site)
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
