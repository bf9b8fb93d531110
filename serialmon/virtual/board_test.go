package virtual_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/serialmon/virtual"
)

// The texts are those that the wording "plain" was agreed on with.
var bootPlain = []string{
	"---- start ----",
	"started after: reset input",
	"firmware larkspur 3.2.0",
	"setting coil = 117",
	"setting polarity = active-high",
	"setting leaving = reported",
	"setting controller = 10.77.0.10:502",
	"setting unit = 1",
	"network mac 02:54:57:00:00:57",
	"network address 10.77.0.57 mask 255.255.255.0 gateway 10.77.0.1",
	"reader chip version 0x92",
	"reader chip self-test passed",
	"no master tag yet, show one to enrol it",
	"cards on file: 0",
	"ready",
	"network link up",
	"controller 10.77.0.10:502 connected",
	"coil 117 written off",
}

func TestBootText(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.pass(4 * time.Second)
	if diff := cmp.Diff(bootPlain, b.lines()); diff != "" {
		t.Errorf("boot text (-want +got):\n%s", diff)
	}
	if ready := b.at("ready").Sub(epoch); ready < time.Second || ready > 1500*time.Millisecond {
		t.Errorf("ready after %v, want about 1.2 s", ready)
	}
	if up := b.at("network link up").Sub(epoch); up < 1800*time.Millisecond || up > 2300*time.Millisecond {
		t.Errorf("link up after %v, want about 2 s", up)
	}
}

func TestConventionText(t *testing.T) {
	b := newBench(t, virtual.Config{Style: virtual.StyleConvention})
	b.pass(4 * time.Second)
	b.touch("master")
	b.want(b.lines(),
		"@boot", "@reset-cause cause=external", "@firmware name=larkspur version=3.2.0", "@setting name=coil value=117",
		"@address mac=02:54:57:00:00:57", "@address ip=10.77.0.57 mask=255.255.255.0 gateway=10.77.0.1",
		"@reader-version version=0x92", "@reader-self-test result=passed", "@master-missing", "@link-up",
		"@controller-up address=10.77.0.10:502", "@coil-written coil=117 value=off",
		"@tag-present uid=04A1B2C3D4E5F6", "@master-enrolled uid=04A1B2C3D4E5F6", "@tag-absent uid=04A1B2C3D4E5F6")
}

func TestServiceFromMasterToCards(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.pass(4 * time.Second)
	for _, step := range []struct {
		role string
		want []string
	}{
		{"master", []string{"tag 04 A1 B2 C3 D4 E5 F6 on the reader", "master tag 04 A1 B2 C3 D4 E5 F6 is enrolled", "tag 04 A1 B2 C3 D4 E5 F6 gone"}},
		{"show", []string{"tag 5C 0A 91 E3 on the reader", "card 5C 0A 91 E3 refused", "tag 5C 0A 91 E3 gone"}},
		{"master", []string{"tag 04 A1 B2 C3 D4 E5 F6 on the reader", "programming mode on", "tag 04 A1 B2 C3 D4 E5 F6 gone"}},
		{"show", []string{"tag 5C 0A 91 E3 on the reader", "card 5C 0A 91 E3 added", "tag 5C 0A 91 E3 gone"}},
		{"master", []string{"tag 04 A1 B2 C3 D4 E5 F6 on the reader", "programming mode off", "tag 04 A1 B2 C3 D4 E5 F6 gone"}},
		{"show", []string{"tag 5C 0A 91 E3 on the reader", "card 5C 0A 91 E3 accepted", "coil 117 written on", "tag 5C 0A 91 E3 gone", "coil 117 written off"}},
		{"stranger", []string{"tag 9B 62 F0 0D on the reader", "card 9B 62 F0 0D refused", "tag 9B 62 F0 0D gone"}},
		{"master", []string{"tag 04 A1 B2 C3 D4 E5 F6 on the reader", "programming mode on", "tag 04 A1 B2 C3 D4 E5 F6 gone"}},
		{"show", []string{"tag 5C 0A 91 E3 on the reader", "card 5C 0A 91 E3 removed", "tag 5C 0A 91 E3 gone"}},
		{"master", []string{"tag 04 A1 B2 C3 D4 E5 F6 on the reader", "programming mode off", "tag 04 A1 B2 C3 D4 E5 F6 gone"}},
		{"show", []string{"tag 5C 0A 91 E3 on the reader", "card 5C 0A 91 E3 refused", "tag 5C 0A 91 E3 gone"}},
	} {
		if diff := cmp.Diff(step.want, b.touch(step.role)); diff != "" {
			t.Fatalf("%s (-want +got):\n%s", step.role, diff)
		}
	}
}

func TestMasterHeldTooLongSwitchesOnceMore(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.serve()
	n := len(b.lines())
	b.place("master", 0)
	b.pass(10 * time.Second)
	want := []string{"tag 04 A1 B2 C3 D4 E5 F6 on the reader", "programming mode on", "programming mode off"}
	if diff := cmp.Diff(want, b.since(n)); diff != "" {
		t.Errorf("held 10 s (-want +got):\n%s", diff)
	}
	if after := b.at("programming mode off").Sub(b.at("programming mode on")); after < 3*time.Second || after > 3300*time.Millisecond {
		t.Errorf("switched back after %v, want just over 3 s", after)
	}
}

func TestListHoldsTwentyFour(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.pass(3 * time.Second)
	b.touch("master")
	b.touch("master")
	for i := range 25 {
		b.do(virtual.Request{Op: virtual.OpPlace, UID: string([]byte{'5', 'C', '0', '0', '0', '0', 'A' + byte(i/16), "0123456789ABCDEF"[i%16]})})
		b.pass(time.Second)
		b.take()
		b.pass(time.Second)
	}
	if got := strings.Count(strings.Join(b.lines(), "\n"), " added"); got != 24 {
		t.Errorf("%d cards added, want 24", got)
	}
	b.want(b.lines(), "card list full")
}

func TestLeavingSilent(t *testing.T) {
	build := virtual.DefaultBuild()
	build.Leaving = "silent"
	b := newBench(t, virtual.Config{Build: build})
	b.serve()
	n := len(b.lines())
	got := b.touch("show")
	want := []string{"tag 5C 0A 91 E3 on the reader", "card 5C 0A 91 E3 accepted", "coil 117 written on", "coil 117 written off"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("after line %d (-want +got):\n%s", n, diff)
	}
}

// Position and blink by the plan of the demonstration: red, green, blue.
func TestLampsTellTheState(t *testing.T) {
	for _, polarity := range []string{"active-high", "active-low"} {
		t.Run(polarity, func(t *testing.T) {
			build := virtual.DefaultBuild()
			build.Polarity = polarity
			b := newBench(t, virtual.Config{Build: build})
			check := func(when, want string) {
				t.Helper()
				if got := b.lamps(); got != want {
					t.Errorf("%s: lamps %q, want %q", when, got, want)
				}
			}
			b.pass(800 * time.Millisecond)
			check("at start", "dark dark dark")
			b.pass(3 * time.Second)
			check("waiting for a master", "dark dark blinking")
			b.serve()
			b.pass(2 * time.Second)
			check("idle", "dark dark lit")
			b.place("show", 0)
			b.pass(2 * time.Second)
			check("accepted", "dark lit dark")
			b.take()
			b.pass(3 * time.Second)
			check("lifted", "dark dark lit")
			b.place("stranger", 0)
			b.pass(600 * time.Millisecond)
			check("refused", "lit dark dark")
			b.pass(1600 * time.Millisecond)
			check("a second and more after", "dark dark lit")
			b.touch("master")
			b.pass(2 * time.Second)
			check("programming", "blinking blinking blinking")
			b.do(virtual.Request{Op: virtual.OpUSB, In: is(false)})
			b.pass(2 * time.Second)
			check("without power", "dark dark dark")
		})
	}
}

func TestCoilFollowsTheTag(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.serve()
	n := len(b.desk.whats(0))
	b.touch("show")
	// Coil 117 counted from 1 is address 116 on the wire.
	want := []string{"unit 1 function 5 address 116 value FF00", "unit 1 function 5 address 116 value 0000"}
	if diff := cmp.Diff(want, b.desk.whats(n)); diff != "" {
		t.Errorf("asked of the controller (-want +got):\n%s", diff)
	}
	delay := b.desk.last(t, want[0]).Sub(b.at("tag 5C 0A 91 E3 on the reader"))
	if delay < 55*time.Millisecond || delay > 125*time.Millisecond {
		t.Errorf("coil on %v after the tag's text, want 60 to 120 ms", delay)
	}
}

func TestResetKeepsMasterAndCards(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.serve()
	n := len(b.lines())
	b.do(virtual.Request{Op: virtual.OpReset})
	b.pass(4 * time.Second)
	b.want(b.since(n), "started after: reset input", "master tag on file: 04 A1 B2 C3 D4 E5 F6", "cards on file: 1")
	b.want(b.touch("show"), "card 5C 0A 91 E3 accepted")
}

func TestImageOutlivesTheBoard(t *testing.T) {
	path := filepath.Join(t.TempDir(), "memory.json")
	b := newBench(t, virtual.Config{Image: path})
	b.serve()
	b.board.Close()
	again := newBench(t, virtual.Config{Image: path})
	again.pass(4 * time.Second)
	again.want(again.lines(), "master tag on file: 04 A1 B2 C3 D4 E5 F6", "cards on file: 1")
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(entries) != 1 {
		t.Errorf("beside the image: %v, %v; want nothing", entries, err)
	}
	if err := os.WriteFile(path, []byte(`{"virtual_board_memory":9,"master":"","cards":[]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := virtual.New(virtual.Config{Image: path}); err == nil {
		t.Error("an image of another version was read")
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	run := func(seed uint64) []byte {
		b := newBench(t, virtual.Config{Seed: seed, Fault: "loose-joint"})
		for range 4 {
			b.pass(4 * time.Second)
			b.touch("master")
			b.do(virtual.Request{Op: virtual.OpReset})
		}
		b.board.Close()
		b.mu.Lock()
		defer b.mu.Unlock()
		var all bytes.Buffer
		all.Write(b.heard)
		for _, at := range b.times {
			all.WriteString(at.String())
		}
		return all.Bytes()
	}
	first := run(7)
	for range 3 {
		if !bytes.Equal(first, run(7)) {
			t.Fatal("the same seed gave other bytes or other times")
		}
	}
	if bytes.Equal(first, run(8)) {
		t.Error("another seed gave the same bytes and times")
	}
}

func TestRangeHasASoftEdge(t *testing.T) {
	read := func(gain int, spacing float64) int {
		build := virtual.DefaultBuild()
		build.Gain = gain
		b := newBench(t, virtual.Config{Build: build, Seed: 3})
		b.pass(3 * time.Second)
		b.touch("master")
		n := 0
		for range 60 {
			before := len(b.lines())
			b.place("stranger", spacing)
			b.pass(400 * time.Millisecond)
			if len(b.since(before)) > 0 {
				n++
			}
			b.take()
			b.pass(400 * time.Millisecond)
		}
		return n
	}
	// The middle at 33 dB is 21 mm, at 48 dB 24.5 mm; half of 60 lies within 18 to 42
	// for all but one seed in 400 (binomial).
	if n := read(33, 6); n != 60 {
		t.Errorf("at 6 mm %d of 60 read, want all", n)
	}
	if n := read(33, 21); n < 18 || n > 42 {
		t.Errorf("at 21 mm %d of 60 read, want about half", n)
	}
	if n := read(33, 26); n != 0 {
		t.Errorf("at 26 mm %d of 60 read, want none", n)
	}
	if n := read(48, 24.5); n < 18 || n > 42 {
		t.Errorf("at 24.5 mm and 48 dB %d of 60 read, want about half", n)
	}
}
