package serialmon

import (
	"context"
	"fmt"
	"io"
	"sync/atomic"
)

// PipeOpener opens what r gives as if it were a port, once. Attach with Once set:
// the session then ends where r does. r's Read should end when r is closed; if it
// does not, closing the session leaves it behind.
func PipeOpener(r io.ReadCloser) Opener {
	var used atomic.Bool
	return func(name string, _ int, _ bool) (Port, error) {
		if used.Swap(true) {
			return nil, fmt.Errorf("pipe %q: cannot be opened a second time", name)
		}
		return pipePort{r}, nil
	}
}

// pipePort has neither speed nor control lines.
type pipePort struct{ io.ReadCloser }

func (pipePort) SetSpeed(int) error               { return nil }
func (pipePort) PulseReset(context.Context) error { return ErrNoLines }
