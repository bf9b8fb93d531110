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
	dir := t.TempDir()
	asPrograms(t, dir, "slow-cable")
	said := runInNamespaces(t, dir, "link_network.sh", site, dir)
	for _, want := range []string{
		"port shut: status 1, faults port-shut \n",
		"nothing wrong: status 0, faults \n",
		"address in use twice: status 1, faults duplicate-ip \n",
		"MAC in use twice: status 1, faults duplicate-mac \n",
		"slow answers: status 1, faults controller-slow \n",
		"no gateway: status 1, faults gateway-unreachable \n",
		"controller's cable out: status 1, faults controller-not-there \n",
		"another subnet: status 1, faults wrong-subnet \n",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("never said %q", want)
		}
	}
	if t.Failed() {
		t.Log(said)
	}
}
