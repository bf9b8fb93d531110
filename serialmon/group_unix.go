//go:build unix

package serialmon

import (
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// groupOf names the group that a device node belongs to: the one to join where
// permission is lacking. Systems differ in its name, so it is looked up.
func groupOf(name string) string {
	info, err := os.Stat(name)
	if err != nil {
		return ""
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return ""
	}
	gid := strconv.FormatUint(uint64(st.Gid), 10)
	g, err := user.LookupGroupId(gid)
	if err != nil {
		return gid
	}
	return g.Name
}
