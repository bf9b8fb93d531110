//go:build !unix

package virtual

import (
	"errors"
	"net"
	"os"
	"time"
)

// hungUp looks for a moment whether the other end has closed a connection on which
// nothing is awaited.
func hungUp(c net.Conn) bool {
	if err := c.SetReadDeadline(time.Now().Add(time.Millisecond)); err != nil {
		return true
	}
	var one [1]byte
	_, err := c.Read(one[:])
	return !errors.Is(err, os.ErrDeadlineExceeded)
}
