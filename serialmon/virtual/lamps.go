package virtual

import (
	"slices"
	"time"
)

const (
	// lookBack is how long an eye takes a lamp in.
	lookBack = 1500 * time.Millisecond
	// blinkPeriod is two blinks a second.
	blinkPeriod = 500 * time.Millisecond
)

// A glow is what the firmware wants of one lamp.
type glow byte

const (
	dark glow = iota
	lit
	blinking
)

// A pattern is what it wants of all lamps, from left to right.
type pattern [3]glow

// lamps is the light of the lamps over the last moments.
type lamps struct {
	red, green, blue int  // positions
	inverted         bool // a pin that is on makes its lamp dark
	shown            []showing
}

// showing is a pattern and since when it has been shown.
type showing struct {
	at      time.Time
	powered bool
	want    pattern
}

// newLamps wires the lamps as the build expects it, or the other way round: the
// firmware drives its pins by the polarity that it was built with, and light
// follows from pin and wiring.
func newLamps(b Build, otherWay bool) lamps {
	pinHighWhenLit := b.Polarity == "active-high"
	lampLitByHigh := pinHighWhenLit != otherWay
	return lamps{
		red: slices.Index(b.Lamps, "red"), green: slices.Index(b.Lamps, "green"), blue: slices.Index(b.Lamps, "blue"),
		inverted: pinHighWhenLit != lampLitByHigh,
	}
}

// show changes the pattern from now on.
func (l *lamps) show(now time.Time, powered bool, want pattern) {
	n := len(l.shown)
	if n > 0 && l.shown[n-1].powered == powered && l.shown[n-1].want == want {
		return
	}
	old := 0
	for old+1 < n && now.Sub(l.shown[old+1].at) > lookBack {
		old++
	}
	l.shown = append(slices.Clone(l.shown[old:]), showing{now, powered, want})
}

// light reports whether a lamp gives light at a time.
func (l *lamps) light(lamp int, t time.Time) bool {
	for i := len(l.shown) - 1; i >= 0; i-- {
		s := l.shown[i]
		if s.at.After(t) {
			continue
		}
		if !s.powered {
			return false
		}
		on := s.want[lamp] == lit || s.want[lamp] == blinking && t.Sub(s.at)%blinkPeriod < blinkPeriod/2
		return on != l.inverted
	}
	return false
}

// seen is what an eye sees of each lamp: lit, dark, or blinking when it has changed
// more often of late than a person's doing would explain.
func (l *lamps) seen(now time.Time) []string {
	const step = 10 * time.Millisecond
	words := make([]string, len(pattern{}))
	for i := range words {
		changes := 0
		last := l.light(i, now.Add(-lookBack))
		for t := now.Add(step - lookBack); !t.After(now); t = t.Add(step) {
			if is := l.light(i, t); is != last {
				last = is
				changes++
			}
		}
		switch {
		case changes >= 4:
			words[i] = "blinking"
		case last:
			words[i] = "lit"
		default:
			words[i] = "dark"
		}
	}
	return words
}

// showLamps makes the lamps follow the firmware's state.
func (b *Board) showLamps() {
	now := b.clock.Now()
	var p pattern
	switch {
	case !b.fw.serves:
	case slices.ContainsFunc(b.fw.lists, func(l listState) bool { return l.programming }):
		p = pattern{blinking, blinking, blinking}
	case slices.ContainsFunc(b.fw.lists, func(l listState) bool { return l.master == "" }):
		p[b.lamps.blue] = blinking
	case now.Before(b.fw.red):
		p[b.lamps.red] = lit
	case slices.ContainsFunc(b.fw.readers, func(r readerState) bool { return r.accepted }) || now.Before(b.fw.green):
		p[b.lamps.green] = lit
	default:
		p[b.lamps.blue] = lit
	}
	b.lamps.show(now, b.powered(), p)
}

// showFor lights the red or the green lamp for at least a while.
func (b *Board) showFor(until *time.Time, d time.Duration) {
	*until = b.clock.Now().Add(d)
	b.showLamps()
	b.after(d, b.showLamps)
}
