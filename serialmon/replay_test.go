package serialmon_test

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/serialtest"
)

func asCapture(err error, target **parsers.CaptureError) bool { return errors.As(err, target) }

const threeLines = "offset,time\n" +
	"0,2026-03-04T12:00:00Z\n" +
	"2,2026-03-04T12:00:01.5Z\n" +
	"# gap 2026-03-04T12:00:02Z 2026-03-04T12:00:10Z\n" +
	"4,2026-03-04T12:00:11Z\n"

// In real time the pauses are those of the recording, gaps included.
func TestReplayInRealTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		var when []time.Duration
		sink := &serialtest.Sink{}
		err := serialmon.Replay(t.Context(), serialmon.Playback{
			Console: strings.NewReader("a\nb\nc\n"), Arrivals: strings.NewReader(threeLines),
			Realtime: true, Clock: clock.Real(), Sink: timed{sink, func() { when = append(when, time.Since(start)) }},
		})
		must(t, err)
		want := []time.Duration{0, 1500 * time.Millisecond, 11 * time.Second}
		if diff := cmp.Diff(want, when); diff != "" {
			t.Errorf("given out after (-want +got):\n%s", diff)
		}
		marks := sink.Marks()
		if len(marks) != 3 || marks[1].Kind != serialmon.MarkGap || marks[1].Away != 8*time.Second || marks[1].Offset != 4 {
			t.Errorf("marks %+v; want attached, a gap of 8 s before offset 4, detached", marks)
		}
	})
}

type timed struct {
	*serialtest.Sink
	note func()
}

func (s timed) Bytes(b []byte, at time.Time, offset int64) error {
	s.note()
	return s.Sink.Bytes(b, at, offset)
}

func TestReplayStopsWhenTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		stopped := errors.New("stopped by the person")
		ctx, cancel := context.WithCancelCause(t.Context())
		time.AfterFunc(time.Second, func() { cancel(stopped) })
		sink := &serialtest.Sink{}
		err := serialmon.Replay(ctx, serialmon.Playback{
			Console: strings.NewReader("a\nb\nc\n"), Arrivals: strings.NewReader(threeLines),
			Realtime: true, Sink: sink,
		})
		if !errors.Is(err, stopped) || string(sink.Text()) != "a\n" {
			t.Errorf("Replay = %v after %q; want %v after the first line", err, sink.Text(), stopped)
		}
	})
}

func TestReplayOfNothing(t *testing.T) {
	err := serialmon.ReplayDir(t.Context(), filepath.Join(t.TempDir(), "nowhere"), serialmon.Playback{Sink: &serialtest.Sink{}})
	if err == nil || !strings.Contains(err.Error(), "nowhere") {
		t.Errorf("ReplayDir of a folder that is not there: %v; want an error that names it", err)
	}
}
