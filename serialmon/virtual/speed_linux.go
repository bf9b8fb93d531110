package virtual

import "golang.org/x/sys/unix"

// lineSpeed is the speed set on a pseudo-terminal's slave, asked for at its master;
// this request knows speeds beyond the standard ones too.
func lineSpeed(fd int) int {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS2)
	if err != nil {
		return 0
	}
	return int(t.Ospeed)
}
