package serialmon

import (
	"fmt"
	"strings"
	"sync"
	"time"

	"propwright/parsers"
	"propwright/serialmon/clock"
)

// When garbage is taken for a wrong speed: not what comes right after the port was
// opened, which may be a boot loader's own text at another speed, and not before this
// many bytes of which less than a share is readable.
const (
	doubtAfter    = 2 * time.Second
	doubtPast     = 400 // bytes
	doubtNewest   = 256 // bytes
	doubtReadable = 0.6
	// A board that says little: so many bytes in all, and so many of them not right after
	// the port was opened (from experience, no source).
	doubtLeast = 32
	doubtLate  = 8
)

// A SpeedDoubt says that what arrives looks like text sent at another speed.
type SpeedDoubt struct {
	Speed    int     // at which it is read
	Readable float64 // share of the newest bytes
	Heard    int     // bytes that the look was taken from
	Likely   []Likeness
}

// String is one line for a person.
func (d SpeedDoubt) String() string {
	text := fmt.Sprintf("at %d baud only %.0f %% of what arrives is text", d.Speed, 100*d.Readable)
	var likely []string
	for _, l := range d.Likely {
		if len(likely) < 2 && l.Share >= 0.2 {
			likely = append(likely, fmt.Sprintf("%d (%.0f %%)", l.Baud, 100*l.Share))
		}
	}
	switch {
	case len(likely) > 0:
	case d.Heard < lookLeast:
		return fmt.Sprintf("%s, and %d bytes are too few to tell the right speed", text, d.Heard)
	default:
		return text + "; it looks like no common speed"
	}
	return text + "; it looks like " + strings.Join(likely, " or ") + " baud"
}

// A SpeedWatch looks on at what goes to a sink, and tells once of each attachment when
// garbage lasts, or when garbage was all that came before it went quiet.
type SpeedWatch struct {
	Sink  Sink
	Clock clock.Clock
	Tell  func(SpeedDoubt)

	mu    sync.Mutex
	speed int
	from  time.Time // of the attachment
	heard []byte    // since, the newest
	past  int       // how many came before these
	late  int       // how many did not come right after the port was opened
	told  bool
	quiet func() bool // calls off what is to happen when nothing comes
}

// Bytes passes them on and looks at them.
func (w *SpeedWatch) Bytes(b []byte, at time.Time, offset int64) error {
	err := w.Sink.Bytes(b, at, offset)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.told || w.speed == 0 {
		return err
	}
	w.heard = append(w.heard, b...)
	drop := max(0, len(w.heard)-lookNewest)
	w.heard, w.past = w.heard[drop:], w.past+drop
	if at.Sub(w.from) >= doubtAfter {
		w.late += len(b)
	}
	if lasting := len(w.heard) - max(0, doubtPast-w.past); lasting >= doubtNewest && at.Sub(w.from) >= doubtAfter {
		w.doubt(doubtNewest)
	}
	if w.quiet != nil {
		w.quiet()
	}
	if !w.told {
		w.quiet = w.Clock.AfterFunc(doubtAfter, func() {
			w.mu.Lock()
			defer w.mu.Unlock()
			switch {
			case w.told:
			case len(w.heard) >= 2*lookLeast:
				w.doubt(min(doubtNewest, len(w.heard)/2)) // a loader's noise may come before text
			case len(w.heard) >= doubtLeast && w.late >= doubtLate:
				w.doubt(len(w.heard))
			}
		})
	}
	return err
}

// doubt tells where the newest bytes are garbage.
func (w *SpeedWatch) doubt(newest int) {
	share := parsers.Readable(w.heard[len(w.heard)-newest:])
	if share >= doubtReadable {
		return
	}
	w.Tell(SpeedDoubt{Speed: w.speed, Readable: share, Heard: len(w.heard), Likely: Looks(w.heard, w.speed)})
	w.told, w.heard = true, nil
}

// Mark passes it on; an attachment begins anew.
func (w *SpeedWatch) Mark(m Mark) error {
	w.mu.Lock()
	if m.Kind == MarkAttached {
		w.speed, w.from, w.past, w.late, w.heard, w.told = m.Speed, m.At, 0, 0, nil, false
	}
	if w.quiet != nil {
		w.quiet()
	}
	w.mu.Unlock()
	return w.Sink.Mark(m)
}
