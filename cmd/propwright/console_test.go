package main

import (
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"propwright/checklist"
	"propwright/parsers"
	"propwright/serialmon/clock"
)

// R4: what a firmware prints without ending the line is given out after a quiet time,
// and marked as cut; a line end that may have company waits for it less long.
func TestALineLeftOpenIsGivenOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		type given struct {
			raw, end string
			after    time.Duration
		}
		var mu sync.Mutex // timers give out in goroutines of their own
		var got []given
		from := time.Now()
		c := newConsole(clock.Real(), parsers.NewStream(), func(e checklist.Entry) (checklist.Entry, error) {
			mu.Lock()
			defer mu.Unlock()
			got = append(got, given{string(e.Event.Raw), e.Event.End, time.Since(from)})
			return e, nil
		})
		for _, piece := range []string{"ready\r", "show a card: "} {
			if err := c.Bytes([]byte(piece), time.Now(), 0); err != nil {
				t.Fatal(err)
			}
			time.Sleep(3 * time.Second)
		}
		mu.Lock()
		defer mu.Unlock()
		want := []given{{"ready", "\r", quietSettle}, {"show a card: ", parsers.EndCut, 3*time.Second + quietFlush}}
		if len(got) != len(want) || got[0] != want[0] || got[1] != want[1] {
			t.Errorf("given out: %+v; want %+v", got, want)
		}
	})
}
