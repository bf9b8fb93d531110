package checklisttest

import (
	"errors"
	"sync"

	"propwright/checklist"
)

// ErrFull is what a Keeper answers once it has BreakAt entries.
var ErrFull = errors.New("keeper is full")

// A Keeper keeps entries in memory. It is safe for concurrent use.
type Keeper struct {
	// BreakAt, where above 0, is the number of entries after which nothing more is
	// kept, as when the process ends there.
	BreakAt int

	mu   sync.Mutex
	kept []checklist.Entry
}

// Keep keeps an entry, or returns ErrFull.
func (k *Keeper) Keep(e checklist.Entry) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.BreakAt > 0 && len(k.kept) >= k.BreakAt {
		return ErrFull
	}
	k.kept = append(k.kept, e)
	return nil
}

// Sync does nothing.
func (*Keeper) Sync() error { return nil }

// Kept returns a copy of the entries kept so far.
func (k *Keeper) Kept() []checklist.Entry {
	k.mu.Lock()
	defer k.mu.Unlock()
	return append([]checklist.Entry(nil), k.kept...)
}
