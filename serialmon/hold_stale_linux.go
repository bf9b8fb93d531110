package serialmon

import (
	"path/filepath"

	"golang.org/x/sys/unix"
)

// mostLinks bounds how many links are followed, as the kernel's own limit does
// (path_resolution(7): 40).
const mostLinks = 40

// staleLink reports whether the pseudo-terminal to is younger than the link that
// leads to it. A number is free again as soon as a pseudo-terminal has gone, so
// such a link leads to a stranger. A name that is no link tells nothing.
func staleLink(name string, to unix.Stat_t) bool {
	if !isPty(to) {
		return false
	}
	stale := false
	for range mostLinks {
		var link unix.Stat_t
		if unix.Lstat(name, &link) != nil || link.Mode&unix.S_IFMT != unix.S_IFLNK {
			break
		}
		stale = unix.TimespecToNsec(link.Ctim) < madeBy(to)
		next := make([]byte, unix.PathMax)
		n, err := unix.Readlink(name, next)
		if err != nil {
			break
		}
		target := string(next[:n])
		if !filepath.IsAbs(target) {
			target = filepath.Join(filepath.Dir(name), target)
		}
		name = target
	}
	return stale
}

// madeBy is a time by which a terminal was there, in nanoseconds: none of its three times
// is before that. Reading it moves one on, writing another, and giving it to somebody
// (chmod) the third.
func madeBy(to unix.Stat_t) int64 {
	return min(unix.TimespecToNsec(to.Atim), unix.TimespecToNsec(to.Mtim), unix.TimespecToNsec(to.Ctim))
}

// isPty goes by the device number: majors 136 to 143 are the Unix98
// pseudo-terminals (Linux, Documentation/admin-guide/devices.txt; from memory).
func isPty(st unix.Stat_t) bool {
	major := unix.Major(uint64(st.Rdev))
	return st.Mode&unix.S_IFMT == unix.S_IFCHR && major >= 136 && major <= 143
}
