package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"propwright/parsers"
)

// What each filter lets through of five events, by their numbers.
func TestWhatAnEventFilterShows(t *testing.T) {
	at := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)
	events := []parsers.Event{
		{Seq: 1, Kind: parsers.KindBoot, First: at},
		{Seq: 2, Kind: parsers.KindCardAdded, First: at.Add(time.Minute)},
		{Seq: 3, Kind: parsers.KindUnknown, First: at.Add(2 * time.Minute)},
		{Seq: 4, Kind: parsers.KindCardAdded, First: at.Add(3 * time.Minute)},
		{Seq: 5, Kind: parsers.KindCardAdded},
	}
	for i, uid := range []string{1: "5C0A91E3", 2: "5C0A91E3", 3: "7E310B44", 4: "5C0A91E3"} {
		events[i] = events[i].Holding(map[string]string{"uid": uid})
	}
	for name, tt := range map[string]struct {
		kinds             []string
		uid, since, until string
		want              string
	}{
		"none":             {want: "12345"},
		"a kind":           {kinds: []string{"card-added"}, want: "245"},
		"two kinds":        {kinds: []string{"boot", "unknown"}, want: "13"},
		"a tag":            {uid: "5c:0a:91:e3", want: "235"},
		"a kind and a tag": {kinds: []string{"card-added"}, uid: "5C 0A 91 E3", want: "25"},
		"from a time on":   {since: "2026-11-25T21:02:00Z", want: "34"},
		"before a time":    {until: "2026-11-25T22:02:00+01:00", want: "12"},
	} {
		f, err := newEventFilter(tt.kinds, tt.uid, tt.since, tt.until)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, e := range events {
			if f.shows(&e) {
				got += string(rune('0' + e.Seq))
			}
		}
		if got != tt.want {
			t.Errorf("%s: shows %s, want %s", name, got, tt.want)
		}
	}
	for name, args := range map[string][4]string{
		"no such kind": {"card-added,cards", "", "", ""}, "no UID": {"", "beacon", "", ""}, "no time": {"", "", "21:00", ""},
	} {
		var kinds []string
		if args[0] != "" {
			kinds = strings.Split(args[0], ",")
		}
		if _, err := newEventFilter(kinds, args[1], args[2], args[3]); exitStatus(err) != statusUsage {
			t.Errorf("%s: %v; want wrong usage", name, err)
		}
	}
}

// A lineWriter hands each line on.
type lineWriter struct{ lines chan string }

func (w lineWriter) Write(b []byte) (int, error) {
	for line := range strings.Lines(string(b)) {
		w.lines <- strings.TrimSpace(line)
	}
	return len(b), nil
}

// What is written to a file that is followed is shown as it comes, in order and once,
// also a line that has no end yet; it ends when it is interrupted.
func TestAFileIsFollowedAsItGrows(t *testing.T) {
	file := filepath.Join(t.TempDir(), "console.raw")
	if err := os.WriteFile(file, []byte("card 5C 0A 91 E3 added\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, interrupt := context.WithCancel(t.Context())
	out := lineWriter{make(chan string, 10)}
	var errOut bytes.Buffer
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"events", file, "--follow", "--kind", "card-added,unknown"}, strings.NewReader(""), out, &errOut)
	}()
	expect := func(want string) {
		t.Helper()
		select {
		case got := <-out.lines:
			if !strings.HasSuffix(got, want) {
				t.Errorf("shown: %q, want %q", got, want)
			}
		case <-time.After(20 * time.Second):
			t.Fatalf("never shown: %q", want)
		}
	}
	expect("card-added       uid=5C0A91E3")
	grown, err := os.OpenFile(file, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer grown.Close()
	for _, step := range []struct{ text, want string }{
		{"card 7E 31 0B 44 added\n", "card-added       uid=7E310B44"},
		{"---- start ----\ncard 9B 62 F0 0D added\n", "card-added       uid=9B62F00D"},
		{"what nobody taught", "unknown          what nobody taught"},
	} {
		if _, err := grown.WriteString(step.text); err != nil {
			t.Fatal(err)
		}
		expect(step.want)
	}
	interrupt()
	if status := <-ended; status != statusInterrupted {
		t.Errorf("status %d, want %d\n%s", status, statusInterrupted, &errOut)
	}
}
