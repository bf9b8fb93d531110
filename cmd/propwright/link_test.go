package main

import (
	"bufio"
	"context"
	"encoding/hex"
	"encoding/json"
	"io"
	"net"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A live command is one that runs until its context ends: its standard output a line
// at a time, and what it has said on standard error.
type live struct {
	lines  chan string
	addr   string
	status chan int
	end    context.CancelFunc
	said   chan string
}

// goLive starts a command that listens, and waits until it says where.
func goLive(t *testing.T, args ...string) *live {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	out, outW := io.Pipe()
	errs, errW := io.Pipe()
	l := &live{lines: make(chan string, 1000), status: make(chan int, 1), end: cancel, said: make(chan string, 1)}
	go func() {
		l.status <- run(ctx, args, strings.NewReader(""), outW, errW)
		outW.Close()
		errW.Close()
	}()
	go func() {
		defer close(l.lines)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			l.lines <- lines.Text()
		}
	}()
	at := make(chan string, 1)
	go func() {
		var all strings.Builder
		where := regexp.MustCompile(`127\.0\.0\.1:\d+`)
		for lines := bufio.NewScanner(errs); lines.Scan(); {
			all.WriteString(lines.Text() + "\n")
			if a := where.FindString(lines.Text()); a != "" {
				select {
				case at <- a:
				default:
				}
			}
		}
		close(at)
		l.said <- all.String()
	}()
	l.addr = <-at
	if l.addr == "" {
		t.Fatalf("%v: status %d, said %q", args, <-l.status, <-l.said)
	}
	t.Cleanup(cancel)
	return l
}

// next is the next line as JSON.
func (l *live) next(t *testing.T) (v map[string]any) {
	t.Helper()
	line, ok := <-l.lines
	if !ok {
		t.Fatal("no further line")
	}
	if err := json.Unmarshal([]byte(line), &v); err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	return v
}

// exchange sends a request and returns the answer, both in hex.
func exchange(t *testing.T, conn net.Conn, request string, size int) string {
	t.Helper()
	b, err := hex.DecodeString(request)
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Write(b); err != nil {
		t.Fatal(err)
	}
	reply := make([]byte, size)
	if _, err := io.ReadFull(conn, reply); err != nil {
		t.Fatalf("answer to %s: %v", request, err)
	}
	return strings.ToUpper(hex.EncodeToString(reply))
}

// The keys and what they hold are the command contract's; the request is coil 173 of
// the Application Protocol V1.1b3, 6.5, behind the header of the TCP guide.
func TestLinkWatchPrintsTheTimeLine(t *testing.T) {
	for base, coil := range map[string]float64{"1": 173, "0": 172} {
		l := goLive(t, "link", "watch", "--listen", "127.0.0.1:0", "--base", base, "--json")
		conn, err := net.Dial("tcp", l.addr)
		if err != nil {
			t.Fatal(err)
		}
		if got := exchange(t, conn, "000100000006FF0500ACFF00", 12); got != "000100000006FF0500ACFF00" {
			t.Errorf("answered %s; want the request (6.5)", got)
		}
		if got := exchange(t, conn, "000200000006FF0600AC0001", 9); got != "000200000003FF8601" {
			t.Errorf("a register write is answered %s; want exception 01", got)
		}
		peer := conn.LocalAddr().String()
		conn.Close()
		want := []map[string]any{
			{"kind": "connected", "peer": peer},
			{"kind": "request", "peer": peer, "unit": 255.0, "function": 5.0, "address": 172.0, "coil": coil, "values": []any{1.0}, "answer": "ok"},
			{"kind": "request", "peer": peer, "unit": 255.0, "function": 6.0, "address": 172.0, "coil": -1.0, "values": []any{1.0}, "answer": "exception 01"},
			{"kind": "closed", "peer": peer},
		}
		for _, w := range want {
			got := l.next(t)
			if at, err := time.Parse(time.RFC3339Nano, got["at"].(string)); err != nil || at.IsZero() {
				t.Errorf("at %v: %v", got["at"], err)
			}
			for _, key := range []string{"unit", "function", "address", "coil", "values", "answer"} {
				if _, there := got[key]; !there {
					t.Errorf("%v has no %q", got, key)
				}
			}
			part := map[string]any{}
			for key := range w {
				part[key] = got[key]
			}
			if diff := cmp.Diff(w, part); diff != "" {
				t.Errorf("base %s (-want +got):\n%s", base, diff)
			}
		}
		l.end()
		if status := <-l.status; status != statusInterrupted {
			t.Errorf("status %d, want %d", status, statusInterrupted)
		}
	}
}

func TestLinkTapPassesOnAndSaysThatItIsInTheWay(t *testing.T) {
	controller := goLive(t, "link", "watch", "--listen", "127.0.0.1:0", "--json")
	tap := goLive(t, "link", "tap", "--listen", "127.0.0.1:0", "--to", controller.addr, "--json")
	conn, err := net.Dial("tcp", tap.addr)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if got := exchange(t, conn, "15010000000609050074FF00", 12); got != "15010000000609050074FF00" {
		t.Errorf("answered %s", got)
	}
	for name, l := range map[string]*live{"tap": tap, "controller": controller} {
		if got := l.next(t); got["kind"] != "connected" {
			t.Errorf("%s: %v; want connected", name, got)
		}
		if got := l.next(t); got["request"] != "15010000000609050074FF00" || got["unit"] != 9.0 || got["coil"] != 117.0 || got["answer"] != "ok" {
			t.Errorf("%s: %v; want coil 117 of unit 9, answered", name, got)
		}
	}
	tap.end()
	if status := <-tap.status; status != statusInterrupted {
		t.Errorf("status %d, want %d", status, statusInterrupted)
	}
	said := <-tap.said
	for _, want := range []string{"!! A tap stands in the line", "until ", "!! The tap has ended", "Put the line back"} {
		if !strings.Contains(said, want) {
			t.Errorf("never said %q:\n%s", want, said)
		}
	}
}

func TestLinkEndsByItself(t *testing.T) {
	l := goLive(t, "link", "watch", "--listen", "127.0.0.1:0", "--for", "1ms")
	if status := <-l.status; status != statusDone {
		t.Errorf("status %d, want 0", status)
	}
}
