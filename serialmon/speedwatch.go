package serialmon

import (
	"fmt"
	"strings"
	"time"

	"propwright/parsers"
)

// When garbage is taken for a wrong speed: not what comes right after the port was
// opened, which may be a boot loader's own text at another speed, and not before this
// many bytes of which less than a share is readable.
const (
	doubtAfter    = 2 * time.Second
	doubtPast     = 400 // bytes
	doubtNewest   = 256 // bytes
	doubtReadable = 0.6
)

// A SpeedDoubt says that what arrives looks like text sent at another speed.
type SpeedDoubt struct {
	Speed    int     // at which it is read
	Readable float64 // share of the newest bytes
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
	if len(likely) == 0 {
		return text + "; it looks like no common speed"
	}
	return text + "; it looks like " + strings.Join(likely, " or ") + " baud"
}

// A SpeedWatch looks on at what goes to a sink, and tells once of each attachment when
// garbage lasts.
type SpeedWatch struct {
	Sink Sink
	Tell func(SpeedDoubt)

	speed int
	from  time.Time // of the attachment
	past  int       // bytes since
	heard []byte    // the newest behind the beginning
	told  bool
}

// Bytes passes them on and looks at them.
func (w *SpeedWatch) Bytes(b []byte, at time.Time, offset int64) error {
	err := w.Sink.Bytes(b, at, offset)
	if w.told || w.speed == 0 {
		return err
	}
	skip := min(max(doubtPast-w.past, 0), len(b))
	w.past += len(b)
	w.heard = append(w.heard, b[skip:]...)
	w.heard = w.heard[max(0, len(w.heard)-lookNewest):]
	if len(w.heard) < doubtNewest || at.Sub(w.from) < doubtAfter {
		return err
	}
	if share := parsers.Readable(w.heard[len(w.heard)-doubtNewest:]); share < doubtReadable {
		w.Tell(SpeedDoubt{Speed: w.speed, Readable: share, Likely: Looks(w.heard, w.speed)})
		w.told, w.heard = true, nil
	}
	return err
}

// Mark passes it on; an attachment begins anew.
func (w *SpeedWatch) Mark(m Mark) error {
	if m.Kind == MarkAttached {
		w.speed, w.from, w.past, w.heard, w.told = m.Speed, m.At, 0, nil, false
	}
	return w.Sink.Mark(m)
}
