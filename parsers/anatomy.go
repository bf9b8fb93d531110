package parsers

import (
	"cmp"
	"slices"
	"time"
)

// An Anatomy is what the starts and silences of a stream say of a board. The zero
// value is that of an empty stream; it is not safe for concurrent use.
type Anatomy struct {
	Starts  int            // of the board, however they are told
	Causes  map[string]int // told with them, by what was told
	MidLine int            // starts that cut a line off
	Junk    int            // starts that junk came before, as of a boot loader at another speed

	began    []time.Time // of the starts whose time is known
	lastText []byte      // of the last line
	lastAt   time.Time   // when it was complete
	ends     map[string]int
	silence  time.Duration
	after    string
	open     bool // the last line has no end
	junk     bool // it was junk
}

// A Loop is a board that starts over and over.
type Loop struct {
	Name   string        // "brown-out", "watchdog", or "restarts" where no cause is told
	Median time.Duration // from start to start
	Least  time.Duration
	Most   time.Duration
	// Line is the line after which most starts ended, and Times how many did so; ""
	// where they end here and there.
	Line  string
	Times int
}

// When starts are a loop: that many intervals, and no more than a share of their median
// between the shortest and the longest (from experience, no source).
const (
	loopIntervals = 3
	loopSpread    = 0.5
)

// Take looks at the next event.
func (a *Anatomy) Take(e Event) { a.Look(&e) }

// Look is Take for an event that is lent.
func (a *Anatomy) Look(e *Event) {
	if !e.First.IsZero() && !a.lastAt.IsZero() {
		if quiet := e.First.Sub(a.lastAt); quiet > a.silence {
			a.silence, a.after = quiet, string(a.lastText)
		}
	}
	switch e.Kind {
	case KindBoot:
		a.start(e)
	case KindResetCause:
		if a.Causes == nil {
			a.Causes = map[string]int{}
		}
		a.Causes[cmp.Or(e.Field("cause"), "not told")]++
	}
	if e.Raw == nil {
		a.open, a.junk = false, false // the computer's own word
		return
	}
	a.open, a.junk = e.End == "" || e.End == EndCut, e.Kind == KindNoise
	if !a.junk {
		a.lastText = append(a.lastText[:0], e.Raw...)
	}
	a.lastAt = e.Last
}

func (a *Anatomy) start(e *Event) {
	a.Starts++
	if !e.First.IsZero() {
		a.began = append(a.began, e.First)
	}
	if a.open {
		a.MidLine++
	}
	if a.junk {
		a.Junk++
	}
	if a.Starts > 1 {
		if a.ends == nil {
			a.ends = map[string]int{}
		}
		a.ends[string(a.lastText)]++
	}
}

// Silence is the longest time in which nothing came, and the line before it.
func (a *Anatomy) Silence() (d time.Duration, after string) { return a.silence, a.after }

// Loop is the loop that the board is in; ok is false where its starts are none, or
// where their times are not known.
func (a *Anatomy) Loop() (l Loop, ok bool) {
	var between []time.Duration
	for i := 1; i < len(a.began); i++ {
		between = append(between, a.began[i].Sub(a.began[i-1]))
	}
	if len(between) < loopIntervals {
		return l, false
	}
	slices.Sort(between)
	n := len(between)
	l = Loop{Name: "restarts", Median: (between[(n-1)/2] + between[n/2]) / 2, Least: between[0], Most: between[n-1]}
	if float64(l.Most-l.Least) > loopSpread*float64(l.Median) {
		return Loop{}, false
	}
	for _, cause := range []string{"brown-out", "watchdog"} {
		if 2*a.Causes[cause] > a.Starts {
			l.Name = cause
		}
	}
	for line, times := range a.ends {
		if 2*times > a.Starts-1 && times > l.Times {
			l.Line, l.Times = line, times
		}
	}
	return l, true
}
