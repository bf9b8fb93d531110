package parsers_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

// anatomyOf feeds pieces of text that come some time after each other.
func anatomyOf(t *testing.T, pieces ...piece) *parsers.Anatomy {
	t.Helper()
	profiles, err := parsers.Auto()
	if err != nil {
		t.Fatal(err)
	}
	var a parsers.Anatomy
	s := parsers.NewStream(profiles...)
	at := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)
	for _, p := range pieces {
		at = at.Add(p.after)
		s.Feed([]byte(p.text), at, a.Take)
		s.Settle(a.Take)
	}
	s.Flush(a.Take)
	return &a
}

type piece struct {
	after time.Duration
	text  string
}

// Starts of a board, in the words of the open line convention; the periods are made
// here, so what has to come out is known.
func TestWhatStartsSayOfABoard(t *testing.T) {
	start := func(cause string) string {
		return "@boot\n@reset-cause cause=" + cause + "\n@setting name=coil value=117\n"
	}
	brown := []piece{{0, start("power-on")}}
	for _, ms := range []int{2100, 2050, 2200, 2000, 2100} {
		brown = append(brown, piece{time.Duration(ms) * time.Millisecond, start("brown-out")})
	}
	for name, tt := range map[string]struct {
		pieces []piece
		starts int
		loop   parsers.Loop
		is     bool
	}{
		"one start":        {[]piece{{0, start("power-on")}, {time.Hour, "@tag-present uid=5C0A91E3\n"}}, 1, parsers.Loop{}, false},
		"three by hand":    {[]piece{{0, start("external")}, {time.Minute, start("external")}, {3 * time.Second, start("external")}, {time.Hour, start("external")}}, 4, parsers.Loop{}, false},
		"a brown-out loop": {brown, 6, parsers.Loop{Name: "brown-out", Median: 2100 * time.Millisecond, Least: 2 * time.Second, Most: 2200 * time.Millisecond, Line: "@setting name=coil value=117", Times: 5}, true},
		"a watchdog": {[]piece{{0, start("watchdog")}, {8 * time.Second, start("watchdog")}, {8 * time.Second, start("watchdog")}, {8 * time.Second, start("watchdog")}}, 4,
			parsers.Loop{Name: "watchdog", Median: 8 * time.Second, Least: 8 * time.Second, Most: 8 * time.Second, Line: "@setting name=coil value=117", Times: 3}, true},
		"no cause told": {[]piece{{0, "@boot\n"}, {3 * time.Second, "@boot\n"}, {3 * time.Second, "@boot\n"}, {3 * time.Second, "@boot\n"}}, 4,
			parsers.Loop{Name: "restarts", Median: 3 * time.Second, Least: 3 * time.Second, Most: 3 * time.Second, Line: "@boot", Times: 3}, true},
	} {
		t.Run(name, func(t *testing.T) {
			a := anatomyOf(t, tt.pieces...)
			loop, is := a.Loop()
			if a.Starts != tt.starts || is != tt.is {
				t.Errorf("%d starts, a loop: %t; want %d, %t", a.Starts, is, tt.starts, tt.is)
			}
			if diff := cmp.Diff(tt.loop, loop); diff != "" {
				t.Errorf("loop (-want +got):\n%s", diff)
			}
		})
	}
}

// A start in the middle of a line, one behind junk, and the longest silence with the
// line before it, after which a board hangs.
func TestHowStartsAndSilencesBegin(t *testing.T) {
	a := anatomyOf(t,
		piece{0, "---- start ----\n"},
		piece{time.Second, "card 5C 0A 91"},
		piece{time.Second, "---- start ----\n"},
		piece{time.Second, "\x00\xf8\xe0\x80\xfe\x00\n"},
		piece{time.Second, "---- start ----\nnetwork link up\n"},
		piece{40 * time.Second, "network link down\n"},
	)
	if a.Starts != 3 || a.MidLine != 1 || a.Junk != 1 {
		t.Errorf("%d starts, %d in a line, %d behind junk; want 3, 1, 1", a.Starts, a.MidLine, a.Junk)
	}
	if d, after := a.Silence(); d != 40*time.Second || after != "network link up" {
		t.Errorf("silent for %v after %q; want 40 s after the link", d, after)
	}
	if got := fmt.Sprint(a.Causes); got != "map[]" {
		t.Errorf("causes %s, none was told", got)
	}
}
