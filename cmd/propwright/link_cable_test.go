//go:build linux

package main

import (
	"strings"
	"testing"
)

// A cable that is slow or drops frames, for real: TCP brings each write, once (RFC 9293,
// 3.4: lost segments are sent again, doubled ones are taken once), only late. So no
// verdict may speak of writes that were lost or came twice.
func TestASlowOrLossyCableIsNamedAsLate(t *testing.T) {
	site := siteInNamespaces(t)
	t.Parallel() // it watches for two minutes
	dir := t.TempDir()
	asPrograms(t, dir, "slow-cable", "board-hands")
	said := runInNamespaces(t, dir, "link_cable.sh", site, dir)
	for _, want := range []string{
		"sound: status 0, faults \n",
		"late: status 1, faults writes-late \n",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("never said %q", want)
		}
	}
	if !strings.Contains(said, "lossy: status 1, faults writes-late \n") && !strings.Contains(said, "lossy: status 0, faults \n") {
		t.Error("a lossy cable has another name than late")
	}
	if t.Failed() {
		t.Log(said)
	}
}
