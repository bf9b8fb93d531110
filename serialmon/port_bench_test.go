//go:build linux || darwin

package serialmon_test

import (
	"slices"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"propwright/serialmon"
	"propwright/serialmon/serialtest"
)

// cpu is the processor time that this process has used.
func cpu(t testing.TB) time.Duration {
	t.Helper()
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// openLine is a pseudo-terminal with a session that listens to it.
func openLine(t testing.TB, sink serialmon.Sink) *serialtest.Pty {
	t.Helper()
	line, err := serialtest.NewPty(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	s, err := serialmon.Attach(t.Context(), serialmon.Options{Name: line.Path, Speed: 115200, Sink: sink})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close(); line.Unplug() })
	return line
}

// stamps notes when each line's end was delivered.
type stamps struct {
	mu    sync.Mutex
	bytes int
	ends  []time.Time
	more  chan struct{}
}

func (s *stamps) Bytes(b []byte, _ time.Time, _ int64) error {
	now := time.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.bytes += len(b)
	for _, c := range b {
		if c == '\n' {
			s.ends = append(s.ends, now)
			select {
			case s.more <- struct{}{}:
			default:
			}
		}
	}
	return nil
}

func (*stamps) Mark(serialmon.Mark) error { return nil }

// R6: an open port on which nothing comes costs next to no processor time; the
// benchmark shows the share, in per cent of one core, and this guards against ten
// times the half per cent that is allowed.
func TestIdlePortIsQuiet(t *testing.T) {
	if testing.Short() {
		t.Skip("takes two seconds")
	}
	openLine(t, &serialtest.Sink{})
	before := cpu(t)
	time.Sleep(2 * time.Second) // real time is what is measured here
	if used := cpu(t) - before; used > 100*time.Millisecond {
		t.Errorf("%v of processor time in 2 s of silence; want far less than 100 ms", used)
	}
}

// BenchmarkIdlePort gives the share of one core that an open port takes on which
// nothing comes, beside the same time without one.
func BenchmarkIdlePort(b *testing.B) {
	share := func(b *testing.B) {
		before, from := cpu(b), time.Now()
		for b.Loop() {
			time.Sleep(time.Second)
		}
		b.ReportMetric(100*float64(cpu(b)-before)/float64(time.Since(from)), "%cpu")
	}
	b.Run("baseline", share)
	b.Run("open", func(b *testing.B) {
		openLine(b, &serialtest.Sink{})
		share(b)
	})
}

// BenchmarkLatency gives the time from the last byte of a line at the far side of the
// pseudo-terminal to its delivery, beside a bare write and read of the same line.
func BenchmarkLatency(b *testing.B) {
	text := []byte("card 5C 0A 91 E3 accepted\r\n")
	report := func(b *testing.B, took []time.Duration) {
		slices.Sort(took)
		for _, q := range []struct {
			name string
			at   float64
		}{{"p50-us", 0.50}, {"p99-us", 0.99}} {
			b.ReportMetric(float64(took[int(q.at*float64(len(took)-1))].Microseconds()), q.name)
		}
	}
	b.Run("baseline-pipe", func(b *testing.B) {
		var fds [2]int
		if err := unix.Pipe(fds[:]); err != nil {
			b.Fatal(err)
		}
		defer unix.Close(fds[0])
		defer unix.Close(fds[1])
		var took []time.Duration
		buf := make([]byte, 64)
		for b.Loop() {
			from := time.Now()
			if _, err := unix.Write(fds[1], text); err != nil {
				b.Fatal(err)
			}
			if _, err := unix.Read(fds[0], buf); err != nil {
				b.Fatal(err)
			}
			took = append(took, time.Since(from))
		}
		report(b, took)
	})
	b.Run("line", func(b *testing.B) {
		sink := &stamps{more: make(chan struct{}, 1)}
		line := openLine(b, sink)
		var took []time.Duration
		for b.Loop() {
			from := time.Now()
			if _, err := line.Write(text); err != nil {
				b.Fatal(err)
			}
			<-sink.more
			sink.mu.Lock()
			took = append(took, sink.ends[len(sink.ends)-1].Sub(from))
			sink.mu.Unlock()
		}
		report(b, took)
	})
}

// BenchmarkPacedReading reads what a port at full speed delivers: R5 asks for no byte
// lost and less than a quarter of a core, the writer's own share included here.
func BenchmarkPacedReading(b *testing.B) {
	for _, rate := range []struct {
		name  string
		bytes int // a second
	}{{"115200-baud", 11_520}, {"2000000-baud", 200_000}} {
		b.Run(rate.name, func(b *testing.B) {
			sink := &stamps{more: make(chan struct{}, 1)}
			line := openLine(b, sink)
			const tick = 5 * time.Millisecond
			piece := make([]byte, rate.bytes/int(time.Second/tick))
			for i := range piece {
				piece[i] = byte(i)
			}
			before, from, sent := cpu(b), time.Now(), 0
			b.SetBytes(int64(len(piece)))
			next := from
			for b.Loop() {
				if _, err := line.Write(piece); err != nil {
					b.Fatal(err)
				}
				sent += len(piece)
				next = next.Add(tick)
				time.Sleep(time.Until(next))
			}
			b.ReportMetric(100*float64(cpu(b)-before)/float64(time.Since(from)), "%cpu")
			for wait := 0; wait < 100; wait++ {
				sink.mu.Lock()
				got := sink.bytes
				sink.mu.Unlock()
				if got == sent {
					return
				}
				time.Sleep(10 * time.Millisecond)
			}
			b.Errorf("%d bytes sent, %d delivered", sent, sink.bytes)
		})
	}
}
