//go:build !linux && !darwin

package virtual

import (
	"errors"

	"propwright/serialmon"
)

// A PtyLine is a Line over a pseudo-terminal, which this system does not have.
type PtyLine struct{ MemoryLine }

// NewPtyLine returns an error: there are no pseudo-terminals here.
func NewPtyLine(string) (*PtyLine, error) {
	return nil, errors.New("pseudo-terminal: not to be had on this system")
}

// Path is empty.
func (l *PtyLine) Path() string { return "" }

// Opener returns what it is given.
func (l *PtyLine) Opener(next serialmon.Opener) serialmon.Opener { return next }
