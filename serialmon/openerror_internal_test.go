package serialmon

import (
	"strings"
	"testing"
)

// R20: a group is to be joined; the superuser's own is not, there a rule is to be added.
func TestJoinGroup(t *testing.T) {
	for group, want := range map[string]string{"dialout": `join group "dialout"`, "uucp": `join group "uucp"`, "root": "udev rule", "wheel": "udev rule"} {
		if got := joinGroup(group); !strings.Contains(got, want) || strings.Contains(got, "\n") {
			t.Errorf("%s: %q; want %q in one line", group, got, want)
		}
	}
}
