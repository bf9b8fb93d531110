//go:build linux

package main

import (
	"strings"
	"testing"
)

// Faults of a network for real: in namespaces of the test's own, made with the stock ip
// program. The names are those of checklist/link; each is what its fault is.
func TestLinkNamesTheFaultsOfANetworkOfItsOwn(t *testing.T) {
	site := siteInNamespaces(t)
	t.Parallel() // ARP probes take seconds each (RFC 5227)
	said := runInNamespaces(t, t.TempDir(), "link_network.sh", site)
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
