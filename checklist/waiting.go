package checklist

import (
	"context"
	"time"
)

// A Waiting is time of a step in which the tool let time run out: nothing it
// waited for came, and neither the board, the network nor hands kept it. What is
// waited for and comes is not counted.
type Waiting struct {
	// Observed is what was watched, where a limit asks for so much time, such as a
	// tag that must lie still; "" is time that the tool added by its own choice.
	Observed string  `json:"observed,omitempty"`
	Seconds  float64 `json:"seconds"`
}

// Observe watches for a time that a limit asks for, and hands each entry on. what
// names the observation in the record.
func (s *Scene) Observe(ctx context.Context, what string, c *Cursor, d time.Duration, each func(Entry)) error {
	_, _, err := s.await(ctx, what, c, d, func(e Entry) bool {
		if each != nil {
			each(e)
		}
		return false
	})
	return err
}

// waited adds a time that ran out to the step's account.
func (e *Engine) waited(what string, d time.Duration) {
	for i := range e.waits {
		if e.waits[i].Observed == what {
			e.waits[i].Seconds += d.Seconds()
			return
		}
	}
	e.waits = append(e.waits, Waiting{Observed: what, Seconds: d.Seconds()})
}
