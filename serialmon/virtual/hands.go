package virtual

import (
	"errors"
	"sync"
	"time"

	"propwright/serialmon/clock"
)

// reachTime is what a hand takes from one act to the next.
const reachTime = 500 * time.Millisecond

// A Doer does what is asked of hands and eyes: a Board, or a Control.
type Doer interface {
	Do(Request) (Reply, error)
}

// Hands moves tags and plugs at the pace of hands. Its methods return at once, and
// what they begin happens on the clock; an act that comes while a tag is still
// held lifts that first. An error of an act that happened later is returned by the
// method called next. Hands is safe for concurrent use.
type Hands struct {
	board Doer
	clock clock.Clock

	mu    sync.Mutex
	acts  uint64 // counts them; what an earlier one has still to do is void
	holds bool   // a tag is at the reader
	err   error
}

// NewHands makes hands that reach for a board.
func NewHands(board Doer, c clock.Clock) *Hands { return &Hands{board: board, clock: c} }

// Present lays the tag of a role at a spacing in millimetres and lifts it when it
// has been held.
func (h *Hands) Present(role string, reader int, spacingMM float64, hold time.Duration) error {
	return h.lay(Request{Op: OpPlace, Role: role, Reader: reader, SpacingMM: spacingMM}, hold)
}

// Place lays the tag of a role at a spacing in millimetres and leaves it there.
func (h *Hands) Place(role string, reader int, spacingMM float64) error {
	return h.lay(Request{Op: OpPlace, Role: role, Reader: reader, SpacingMM: spacingMM}, 0)
}

// Take lifts every tag, also one that other hands left there.
func (h *Hands) Take() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.acts++
	h.holds = false
	h.keep(Request{Op: OpTake})
	return h.fault()
}

// Flex bends a reader's board or lets it go.
func (h *Hands) Flex(reader int, on bool) error {
	return h.do(Request{Op: OpFlex, Reader: reader, On: &on})
}

// Cable puts the network cable in or pulls it.
func (h *Hands) Cable(in bool) error { return h.do(Request{Op: OpCable, In: &in}) }

// Supply switches the board's own supply.
func (h *Hands) Supply(on bool) error { return h.do(Request{Op: OpSupply, On: &on}) }

// Room switches all power of the room.
func (h *Hands) Room(on bool) error { return h.do(Request{Op: OpRoom, On: &on}) }

// USB plugs USB in or out.
func (h *Hands) USB(in bool) error { return h.do(Request{Op: OpUSB, In: &in}) }

// Reset presses the board's button.
func (h *Hands) Reset() error { return h.do(Request{Op: OpReset}) }

// Lamps looks at the lamps: "dark", "lit" or "blinking" each, from left to right.
func (h *Hands) Lamps() ([]string, error) {
	reply, err := h.board.Do(Request{Op: OpLamps})
	return reply.Lamps, err
}

// do does an act at once; a tag that is held stays held.
func (h *Hands) do(r Request) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.keep(r)
	return h.fault()
}

func (h *Hands) lay(r Request, hold time.Duration) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.acts++
	h.lift()
	h.later(reachTime, func() {
		h.keep(r)
		h.holds = true
		if hold > 0 {
			h.later(hold, h.lift)
		}
	})
	return h.fault()
}

// later calls f, with the hands locked, unless another act has begun by then.
func (h *Hands) later(d time.Duration, f func()) {
	act := h.acts
	h.clock.AfterFunc(d, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		if h.acts == act {
			f()
		}
	})
}

func (h *Hands) lift() {
	if h.holds {
		h.holds = false
		h.keep(Request{Op: OpTake})
	}
}

func (h *Hands) keep(r Request) {
	_, err := h.board.Do(r)
	h.err = errors.Join(h.err, err)
}

// fault returns what went wrong since it was last called.
func (h *Hands) fault() error {
	err := h.err
	h.err = nil
	return err
}
