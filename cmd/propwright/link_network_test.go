//go:build linux

package main

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Faults of a network for real: in namespaces of the test's own, made with the stock ip
// program. The names are those of checklist/link; each is what its fault is.
func TestLinkNamesTheFaultsOfANetworkOfItsOwn(t *testing.T) {
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
	t.Parallel() // ARP probes take seconds each (RFC 5227)
	script, err := filepath.Abs(filepath.Join("testdata", "link_network.sh"))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "unshare", "-rnm", "sh", script, buildProgram(t), site.Dir)
	cmd.Dir = t.TempDir()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	said := string(out)
	for _, want := range []string{
		"port shut: status 1, faults port-shut \n",
		"nothing wrong: status 0, faults \n",
		"address in use twice: status 1, faults duplicate-ip \n",
		"MAC in use twice: status 1, faults duplicate-mac \n",
		"slow answers: ", // status 1, faults controller-slow, where the kernel has netem
		"no gateway: status 1, faults gateway-unreachable \n",
		"controller's cable out: status 1, faults controller-not-there \n",
		"another subnet: status 1, faults wrong-subnet \n",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("never said %q", want)
		}
	}
	if strings.Contains(said, "slow answers: status") && !strings.Contains(said, "slow answers: status 1, faults controller-slow \n") {
		t.Error("slow answers have another name")
	}
	if t.Failed() {
		t.Log(said)
	}
}
