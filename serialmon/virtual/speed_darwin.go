package virtual

import "golang.org/x/sys/unix"

// lineSpeed is the speed set on a pseudo-terminal's slave, asked for at its master.
func lineSpeed(fd int) int {
	t, err := unix.IoctlGetTermios(fd, unix.TIOCGETA)
	if err != nil {
		return 0
	}
	return int(t.Ospeed)
}
