package link

import (
	"errors"
	"io"
	"syscall"
)

// winConnReset is WSAECONNRESET; package syscall's own ECONNRESET is an
// invention on Windows.
const winConnReset = syscall.Errno(10054)

// isTheirs reports whether an error of reading or writing says that the other
// side ended the connection.
func isTheirs(err error) bool {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return true
	}
	return errors.Is(err, syscall.ECONNRESET) || errors.Is(err, winConnReset) || errors.Is(err, syscall.EPIPE)
}
