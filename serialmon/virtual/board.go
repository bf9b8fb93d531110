package virtual

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"sync"
	"time"

	"propwright/serialmon/clock"
)

// A Line is how a board's UART reaches a host. The board calls Write and
// HostSpeed, from one goroutine at a time, and never waits in them.
type Line interface {
	// Write passes bytes on and returns how many were taken: what no host takes is
	// lost, as on a wire.
	Write(p []byte) int
	// HostSpeed is the speed that the host has set, in baud; 0 when not known.
	HostSpeed() int
	// Watch gives the line what to call when the host's end changes. It is called
	// once, before anything else. With closely a change is looked for often.
	Watch(e Edges, closely bool) error
	// Plug gives the host's end a device, Unplug takes it away.
	Plug() error
	Unplug() error
	// Noticed waits until the calls for all that the host did so far are done.
	Noticed(ctx context.Context) error
	// Close ends the line for good.
	Close() error
}

// Edges are what a Line calls, one at a time, when the host's end changes. A line
// must hold no lock meanwhile that its other methods need.
type Edges struct {
	Opened func()
	// Closed is also called when the device is unplugged while open. lost is how
	// many of the bytes taken the host will never read.
	Closed func(lost int)
	Reset  func() // the host pulsed a control line
}

// A Board is a virtual reader board. Its methods are safe for concurrent use; on a
// simulated clock their callers count as under way.
type Board struct {
	cfg    Config
	clock  clock.Clock
	tags   map[string]uid
	random dice

	mu      sync.Mutex
	landing int    // bytes to land once mu is free
	epoch   uint64 // counts starts and power losses; timers of an earlier one are void
	closed  bool
	line    Line
	hosted  bool   // a host has the line open
	build   Build  // as the firmware has it, which a fault may have changed
	version string // of the firmware

	usb, supply bool
	flexed      int // reader whose board is bent, noReader for none
	cold        coldStarts
	memory      *memory
	uart        uart
	lamps       lamps
	hands       []hand // what lies before each reader
	toMiss      int    // presentations until the next that the fault misses spoils
	net         network
	toggled     []bool // each toggling coil as the firmware holds it
	roomMoves   int    // counts switchings of the room's power; a timer of an earlier one is void
	fw          firmware
}

// noReader is no reader's index.
const noReader = -1

// dice are independent sources of chance, so that one does not move another.
type dice struct{ boot, reader, hand, net *rand.Rand }

func newDice(seed uint64) dice {
	r := func(n uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, n)) }
	return dice{r(1), r(2), r(3), r(4)}
}

// between draws a time from an interval.
func between(r *rand.Rand, from, to time.Duration) time.Duration {
	return from + time.Duration(r.Float64()*float64(to-from))
}

// New makes a board that is not powered yet. Its errors name what is wrong with
// the configuration or with the memory image.
func New(cfg Config) (*Board, error) {
	if cfg.Clock == nil {
		cfg.Clock = clock.Real()
	}
	if cfg.Style == "" {
		cfg.Style = StylePlain
	}
	if reflect.ValueOf(cfg.Build).IsZero() {
		cfg.Build = DefaultBuild()
	}
	if cfg.Style != StylePlain && cfg.Style != StyleConvention {
		return nil, fmt.Errorf("style %q: must be %s or %s", cfg.Style, StylePlain, StyleConvention)
	}
	if err := errors.Join(checkFault(cfg.Fault), cfg.Build.Check()); err != nil {
		return nil, err
	}
	tags, err := cfg.tags()
	if err != nil {
		return nil, err
	}
	if n := LeastReaders(cfg.Fault); cfg.Build.readers() < n {
		return nil, fmt.Errorf("fault %q: needs a board of %d readers", cfg.Fault, n)
	}
	first, err := cfg.first(tags)
	if err != nil {
		return nil, err
	}
	mem, err := openMemory(cfg.Image, first, cfg.Build.lists())
	if err != nil {
		return nil, err
	}
	b := &Board{cfg: cfg, clock: cfg.Clock, tags: tags, memory: mem, random: newDice(cfg.Seed), version: firmwareVersion}
	b.build = misbuild(cfg.Build, cfg.Fault)
	b.lamps = newLamps(b.build, cfg.Fault == faultLightsInverted)
	b.flexed, b.hands, b.toggled = noReader, make([]hand, b.build.readers()), make([]bool, b.build.readers())
	b.net.cable = cfg.Fault != faultNoCable
	b.cold.random = b.random.boot
	return b, nil
}

// misbuild is the build with what a fault changes in it.
func misbuild(b Build, fault string) Build {
	switch fault {
	case faultCoilTaken:
		b.Coil++
	case faultWrongController:
		b.Controller = neighbourOf(b.Controller)
	case faultWrongSpeed:
		b.Baud = 9600
	case faultWrongMask:
		b.Mask = "255.255.255.252"
	}
	return b
}

// Connect joins the board to its host by USB, which powers it.
func (b *Board) Connect(line Line) error {
	b.mu.Lock()
	if b.line != nil || b.closed {
		b.mu.Unlock()
		return errors.New("board: connected already or closed")
	}
	b.line = line
	b.mu.Unlock()
	if err := line.Watch(Edges{Opened: b.hostOpened, Closed: b.hostClosed, Reset: b.hostReset}, b.cfg.LockStep); err != nil {
		return err
	}
	return b.setUSB(true)
}

// Noticed waits until the board has seen the host's latest opening or closing of
// its line. A host that calls it holds a simulated clock meanwhile.
func (b *Board) Noticed(ctx context.Context) error {
	b.mu.Lock()
	line := b.line
	b.mu.Unlock()
	if line == nil {
		return nil
	}
	return line.Noticed(ctx)
}

// Close switches the board off for good and closes its line.
func (b *Board) Close() error {
	b.mu.Lock()
	b.closed = true
	b.usb, b.supply = false, false
	b.off()
	line := b.line
	b.unlock()
	if line == nil {
		return nil
	}
	return line.Close()
}

// The control line that opening a port raises restarts the board through its
// capacitor, and so does a pulse on it.
func (b *Board) hostOpened() {
	b.mu.Lock()
	defer b.unlock()
	b.hosted = true
	b.reset(causeReset)
}

func (b *Board) hostReset() {
	b.mu.Lock()
	defer b.unlock()
	b.reset(causeReset)
}

func (b *Board) hostClosed(lost int) {
	b.mu.Lock()
	defer b.unlock()
	b.hosted = false
	b.landing += lost
}

// unlock frees the board and then lands the bytes that were lost meanwhile: a
// landing can move a simulated clock on, whose timers lock the board.
func (b *Board) unlock() {
	n := b.landing
	b.landing = 0
	b.mu.Unlock()
	if n > 0 {
		b.clock.Land(n)
	}
}

// after calls f, with the board locked, unless the board has been restarted or
// lost its power by then.
func (b *Board) after(d time.Duration, f func()) {
	epoch := b.epoch
	b.afterAlways(d, func() {
		if b.epoch == epoch {
			f()
		}
	})
}

// afterAlways is for what does not depend on power.
func (b *Board) afterAlways(d time.Duration, f func()) {
	b.clock.AfterFunc(d, func() {
		b.mu.Lock()
		defer b.unlock()
		if !b.closed {
			f()
		}
	})
}

// fault reports whether the board has the named fault.
func (b *Board) fault(name string) bool { return b.cfg.Fault == name }

// faultAt is fault for what goes wrong at one reader: of several it is the first.
func (b *Board) faultAt(name string, reader int) bool { return reader == 0 && b.fault(name) }
