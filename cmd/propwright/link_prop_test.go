//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

// A liveBoard is a virtual board in service on a pseudo-terminal, in real time.
type liveBoard struct {
	port  string
	board *virtual.Board
}

func goBoard(t *testing.T, fault, controller string) liveBoard {
	t.Helper()
	board, err := virtual.New(virtual.Config{Clock: clock.Real(), Seed: 1, Fault: fault, Enrolled: []string{"master", "show"}, Controller: controller})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { board.Close() })
	line, err := virtual.NewPtyLine("")
	if err != nil {
		t.Fatal(err)
	}
	if err := board.Connect(line); err != nil {
		t.Fatal(err)
	}
	return liveBoard{line.Path(), board}
}

// showTag has the show's own tag laid and lifted until stop is closed: the board lives in
// real time, and so do its hands.
func (b liveBoard) showTag(t *testing.T, stop <-chan int) int {
	t.Helper()
	tick := time.NewTicker(1500 * time.Millisecond)
	defer tick.Stop()
	for lay := true; ; lay = !lay {
		r := virtual.Request{Op: virtual.OpTake}
		if lay {
			r = virtual.Request{Op: virtual.OpPlace, Role: "show"}
		}
		if _, err := b.board.Do(r); err != nil {
			t.Error(err)
		}
		select {
		case <-tick.C:
		case status := <-stop:
			return status
		}
	}
}

// A virtual board with a fault and a person who shows its tag, as link PROP sees both
// sides: the fault's name is the contract's fault, and nothing else is named.
func TestLinkPropPutsBothSidesTogether(t *testing.T) {
	for fault, want := range livePropFaults {
		t.Run(fault, func(t *testing.T) {
			t.Parallel()
			if testing.Short() {
				t.Skip("takes a quarter of a minute")
			}
			site, err := makeDemoSite(t.Context(), testDeps(), filepath.Join(t.TempDir(), "site"), "test key", demoOptions{})
			if err != nil {
				t.Fatal(err)
			}
			site.Close()
			listen := freeAddress(t)
			board := goBoard(t, fault, listen)
			var out bytes.Buffer
			status := make(chan int, 1)
			go func() {
				status <- run(t.Context(), []string{"link", "harbour-bell", "--site", site.Dir, "--listen", listen, "--port", board.port, "--for", "12s", "--json"}, strings.NewReader(""), &out, io.Discard)
			}()
			got := board.showTag(t, status)
			var v struct {
				Showings []map[string]any `json:"showings"`
				Delay    *struct {
					N int `json:"n"`
				} `json:"delay"`
				Faults []struct {
					ID       string   `json:"id"`
					Evidence []string `json:"evidence"`
					Remedy   string   `json:"remedy"`
				} `json:"faults"`
				Verdict string `json:"verdict"`
			}
			if err := json.Unmarshal(out.Bytes(), &v); err != nil {
				t.Fatalf("status %d, %q: %v", got, &out, err)
			}
			named := ""
			for _, f := range v.Faults {
				named += f.ID
				if len(f.Evidence) == 0 || f.Remedy == "" {
					t.Errorf("%+v: wants evidence and a remedy", f)
				}
			}
			wantStatus, wantVerdict := statusDone, "passed"
			if want != "" {
				wantStatus, wantVerdict = statusVerdict, "failed"
			}
			if named != want || got != wantStatus || v.Verdict != wantVerdict || len(v.Showings) < 2 && fault != "connect-resets" {
				t.Errorf("status %d, named %q, verdict %q, %d showings; want %d, %q, %q\n%s", got, named, v.Verdict, len(v.Showings), wantStatus, want, wantVerdict, &out)
			}
			if want == "" && (v.Delay == nil || v.Delay.N < 2) {
				t.Errorf("delay %+v; want some timed", v.Delay)
			}
		})
	}
}
