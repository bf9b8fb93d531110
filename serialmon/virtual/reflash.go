package virtual

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// rebuilds are what new firmware may be built with otherwise, by the names that the
// board echoes.
var rebuilds = map[string]func(*Build, string) error{
	"coil":       func(b *Build, v string) (err error) { b.Coil, err = strconv.Atoi(v); return err },
	"unit":       func(b *Build, v string) (err error) { b.Unit, err = strconv.Atoi(v); return err },
	"controller": func(b *Build, v string) error { b.Controller = v; return nil },
	"polarity":   func(b *Build, v string) error { b.Polarity = v; return nil },
	"leaving":    func(b *Build, v string) error { b.Leaving = v; return nil },
	"mac":        func(b *Build, v string) error { b.MAC = v; return nil },
	"ip":         func(b *Build, v string) error { b.IP = v; return nil },
}

// reflash gives the board other firmware, with the board locked. Who has the port
// open keeps the loader from it, as with a real board.
func (b *Board) reflash(r Request) error {
	switch {
	case b.closed || !b.usb:
		return errors.New("reflash: no USB, so there is no way to the board")
	case b.hosted:
		return errors.New("reflash: a program has the port open")
	case r.Firmware == "" || strings.ContainsFunc(r.Firmware, func(c rune) bool { return c <= ' ' || c > '~' }):
		return fmt.Errorf("firmware %q: must be a version, printable and without blanks", r.Firmware)
	}
	build := b.build
	for name, value := range r.Settings {
		rebuild, ok := rebuilds[name]
		if !ok {
			return fmt.Errorf("settings: %q: must be one of %s", name, strings.Join(slices.Sorted(maps.Keys(rebuilds)), ", "))
		}
		if err := rebuild(&build, value); err != nil {
			return fmt.Errorf("settings: %s %q: must be a number", name, value)
		}
	}
	if err := build.Check(); err != nil {
		return err
	}
	if r.Wipe {
		b.memory.wipe()
		if err := b.memory.save(); err != nil {
			return err
		}
	}
	if build.Polarity != b.build.Polarity {
		b.lamps.inverted = !b.lamps.inverted // the lamps' wiring stays
	}
	b.build, b.version = build, r.Firmware
	b.start(causeReset)
	return nil
}
