package clock_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/serialmon/clock"
)

func noon() time.Time { return time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC) }

func TestBasisAndPace(t *testing.T) {
	for _, tt := range []struct {
		clock clock.Clock
		basis clock.Basis
		pace  float64
	}{
		{clock.Real(), clock.BasisReal, 1},
		{clock.Paced(noon(), 8), clock.BasisPaced, 8},
		{clock.Paced(noon(), 0), clock.BasisPaced, 1},
		{clock.Paced(noon(), -2), clock.BasisPaced, 1},
		{clock.Simulated(noon()), clock.BasisSimulated, 0},
	} {
		if b, p := tt.clock.Basis(), tt.clock.Pace(); b != tt.basis || p != tt.pace {
			t.Errorf("basis %q, pace %v; want %q, %v", b, p, tt.basis, tt.pace)
		}
	}
}

// A paced clock shows the anchor at the anchor and runs so many times as fast.
func TestPacedRunsFaster(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		anchor := time.Now().UTC()
		c := clock.Paced(anchor, 10)
		time.Sleep(3 * time.Second)
		if got := c.Now().Sub(anchor); got != 30*time.Second {
			t.Errorf("3 s later the clock shows %v, want 30s", got)
		}
		begin := time.Now()
		if err := c.Sleep(t.Context(), time.Minute); err != nil || time.Since(begin) != 6*time.Second {
			t.Errorf("Sleep(1m) = %v after %v, want 6s", err, time.Since(begin))
		}
		rang := make(chan time.Duration, 1)
		begin = time.Now()
		c.AfterFunc(20*time.Second, func() { rang <- time.Since(begin) })
		stop := c.AfterFunc(20*time.Second, func() { t.Error("a stopped timer rang") })
		if !stop() || stop() {
			t.Error("stop() did not report true and then false")
		}
		if after := <-rang; after != 2*time.Second {
			t.Errorf("AfterFunc(20s) rang after %v, want 2s", after)
		}
		time.Sleep(time.Second)
		if c.Now().Location() != time.UTC {
			t.Errorf("Now() is in %v, want UTC", c.Now().Location())
		}
	})
}

func TestSleepEndsWithContext(t *testing.T) {
	stopped := errors.New("stopped")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stopped)
	for _, c := range []clock.Clock{clock.Real(), clock.Simulated(noon())} {
		c.AfterFunc(time.Hour, func() {}) // something to jump to
		c.Depart(1)                       // somebody else is under way: the simulated clock stands
		if err := c.Sleep(ctx, time.Minute); !errors.Is(err, stopped) {
			t.Errorf("%s clock: Sleep = %v, want %v", c.Basis(), err, stopped)
		}
	}
}

// Timers run in the order of their times, and at one time in the order of their
// making; each sees its own time; one made by another is waited for too.
func TestSimulatedOrder(t *testing.T) {
	c := clock.Simulated(noon())
	type ring struct {
		name string
		at   time.Duration
	}
	var got []ring
	note := func(name string) func() {
		return func() { got = append(got, ring{name, c.Now().Sub(noon())}) }
	}
	c.AfterFunc(2*time.Second, note("b"))
	c.AfterFunc(2*time.Second, note("c"))
	stop := c.AfterFunc(2*time.Second, note("stopped"))
	c.AfterFunc(time.Second, func() {
		note("a")()
		c.AfterFunc(5*time.Second, note("d"))
		c.AfterFunc(-time.Second, note("at once"))
	})
	if !stop() || stop() {
		t.Error("stop() did not report true and then false")
	}
	if len(got) != 0 || !c.Now().Equal(noon()) {
		t.Errorf("before the caller landed: %v at %v", got, c.Now())
	}
	if err := c.Sleep(t.Context(), time.Minute); err != nil {
		t.Fatal(err)
	}
	want := []ring{
		{"a", time.Second}, {"at once", time.Second}, {"b", 2 * time.Second},
		{"c", 2 * time.Second}, {"d", 6 * time.Second},
	}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(ring{})); diff != "" {
		t.Errorf("rings (-want +got):\n%s", diff)
	}
	if at := c.Now().Sub(noon()); at != time.Minute {
		t.Errorf("woke at %v, want 1m", at)
	}
}

// Time stands while anything is under way, whoever sent it.
func TestSimulatedStandsWhileUnderWay(t *testing.T) {
	c := clock.Simulated(noon())
	c.Depart(3) // bytes
	woke := make(chan time.Time, 1)
	go func() {
		if err := c.Sleep(context.Background(), time.Hour); err != nil {
			t.Error(err)
		}
		woke <- c.Now()
	}()
	c.Land(1)
	c.Land(1)
	if !c.Now().Equal(noon()) {
		t.Errorf("the clock shows %v with a byte under way, want %v", c.Now(), noon())
	}
	c.Land(1)
	if at := <-woke; !at.Equal(noon().Add(time.Hour)) {
		t.Errorf("woke at %v, want %v", at, noon().Add(time.Hour))
	}
}

// Many that sleep by turns come to the same end each time, whatever the scheduler
// does: each wakes at its own time.
func TestSimulatedManySleepers(t *testing.T) {
	c := clock.Simulated(noon())
	var wg sync.WaitGroup
	for i := range 20 {
		c.Depart(1)
		wg.Go(func() {
			defer c.Land(1)
			for n := range 50 {
				if err := c.Sleep(context.Background(), time.Duration(i+1)*time.Second); err != nil {
					t.Error(err)
				}
				if got, want := c.Now().Sub(noon()), time.Duration((n+1)*(i+1))*time.Second; got != want {
					t.Errorf("sleeper %d, turn %d: woke at %v, want %v", i, n, got, want)
				}
			}
		})
	}
	c.Land(1)
	wg.Wait()
	if got := c.Now().Sub(noon()); got != 20*50*time.Second {
		t.Errorf("the end is at %v, want %v", got, 20*50*time.Second)
	}
}

// To land more than departed is a fault of the program.
func TestSimulatedLandTooMuch(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("Land(2) with one under way did not panic")
		}
	}()
	clock.Simulated(noon()).Land(2)
}
