package virtual_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/serialmon/virtual"
)

// The names and their order are the command contract's.
func TestFaultNames(t *testing.T) {
	want := []string{
		"reader-zero", "reader-ones", "loose-joint", "clone-chip", "brown-out", "wrong-speed", "old-contents", "coil-taken",
		"settings-silent", "lights-inverted", "master-lost", "stuck-programming", "last-card-lost", "cards-stay", "flicker",
		"short-range", "no-cable", "wrong-controller", "coil-plus-one", "coil-stays-on", "slow-coil", "no-reconnect",
		"misses", "weak-adapter", "cold-start", "readers-crossed", "gives-up-early",
		"coil-minus-one", "wrong-unit", "wrong-function", "coil-inverted", "writes-twice", "writes-lost", "connected-silent",
		"shield-missing", "link-flaps", "wrong-mask", "sockets-leak", "connect-resets",
	}
	var got []string
	for _, f := range virtual.Faults() {
		got = append(got, f.Name)
		if f.What == "" || strings.ContainsAny(f.What, "\r\n") {
			t.Errorf("fault %s: what it is = %q, want one line", f.Name, f.What)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
	_, err := virtual.New(virtual.Config{Fault: "haunted"})
	if err == nil || !strings.Contains(err.Error(), "cold-start") {
		t.Errorf("unknown fault: %v, want an error that lists the names", err)
	}
}

// restarts resets the board n times and returns the chip versions it told.
func (b *bench) restarts(n int) []string {
	b.t.Helper()
	var versions []string
	for range n {
		before := len(b.lines())
		b.do(virtual.Request{Op: virtual.OpReset})
		b.pass(4 * time.Second)
		for _, l := range b.since(before) {
			if v, ok := strings.CutPrefix(l, "reader chip version "); ok {
				versions = append(versions, v)
			}
		}
	}
	return versions
}

func unique(all []string) []string { return slices.Compact(slices.Sorted(slices.Values(all))) }

func TestSilentChips(t *testing.T) {
	for fault, version := range map[string]string{"reader-zero": "0x00", "reader-ones": "0xFF"} {
		b := newBench(t, virtual.Config{Fault: fault})
		versions := b.restarts(10)
		if len(versions) != 10 || !slices.Equal(unique(versions), []string{version}) {
			t.Errorf("%s: versions %v, want %s ten times", fault, versions, version)
		}
		b.want(b.lines(), "reader chip does not answer")
		if got := b.touch("master"); len(got) > 0 {
			t.Errorf("%s: a tag gave %q, want nothing", fault, got)
		}
	}
}

func TestLooseJoint(t *testing.T) {
	for seed := range uint64(20) {
		b := newBench(t, virtual.Config{Fault: "loose-joint", Seed: seed})
		still := unique(b.restarts(10))
		b.do(virtual.Request{Op: virtual.OpFlex, On: is(true)})
		bent := unique(b.restarts(4))
		if len(still) == 1 && slices.Equal(still, bent) {
			t.Errorf("seed %d: %v with hands off and %v bent, want values that change", seed, still, bent)
		}
		b.board.Close()
	}
}

func TestCloneChip(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "clone-chip"})
	if v := unique(b.restarts(10)); !slices.Equal(v, []string{"0xB2"}) {
		t.Errorf("versions %v, want 0xB2 only", v)
	}
	b.want(b.lines(), "reader chip self-test not comparable")
	b.serve()
	b.want(b.touch("show"), "card 5C 0A 91 E3 accepted")
}

func TestBrownOut(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "brown-out"})
	b.pass(21500 * time.Millisecond)
	if n := b.count("---- start ----"); n < 9 || n > 12 {
		t.Errorf("%d starts in 21.5 s, want one every 2.1 s", n)
	}
	if n := b.count("started after: brown-out"); n < 8 {
		t.Errorf("brown-out told %d times, want all but once", n)
	}
	if n := b.count("ready"); n < 9 {
		t.Errorf("ready %d times, want each time: it restarts after its start text", n)
	}
}

func TestWrongSpeed(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "wrong-speed"})
	b.pass(4 * time.Second)
	b.mu.Lock()
	for _, c := range b.heard {
		if c != 0 {
			t.Errorf("9600 baud read at 115200: byte %02X, want 00 only", c)
			break
		}
	}
	if len(b.heard) < 500 {
		t.Errorf("%d bytes, want more than were sent", len(b.heard))
	}
	b.mu.Unlock()

	right := newBenchAt(t, virtual.Config{Fault: "wrong-speed"}, 9600)
	right.pass(5 * time.Second)
	right.want(right.lines(), "---- start ----", "setting coil = 117", "ready")
}

func TestOldContents(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "old-contents"})
	b.pass(4 * time.Second)
	b.want(b.lines(), "cards on file: 3")
	b.never(b.lines(), "no master tag yet, show one to enrol it")
	if !strings.Contains(strings.Join(b.lines(), "\n"), "master tag on file: ") {
		t.Error("no master on file, want another prop's")
	}
	b.want(b.touch("master"), "card 04 A1 B2 C3 D4 E5 F6 refused")
}

func TestSettingsFaults(t *testing.T) {
	for fault, tt := range map[string]struct{ want, never []string }{
		"coil-taken":      {want: []string{"setting coil = 118", "coil 118 written off"}},
		"settings-silent": {want: []string{"setting unit = 1"}, never: []string{"setting coil = 117", "setting leaving = reported"}},
		"wrong-controller": {
			want:  []string{"setting unit = 1", "network link up", "controller 10.77.0.99:502 does not answer"},
			never: []string{"setting controller = 10.77.0.10:502", "setting controller = 10.77.0.99:502"},
		},
		"no-cable": {want: []string{"ready"}, never: []string{"network link up"}},
	} {
		b := newBench(t, virtual.Config{Fault: fault})
		b.pass(20 * time.Second)
		b.want(b.lines(), tt.want...)
		b.never(b.lines(), tt.never...)
		if n := len(b.desk.whats(0)); (fault == "wrong-controller" || fault == "no-cable") && n != 0 {
			t.Errorf("%s: %d notes at the controller, want none", fault, n)
		}
	}
}

func TestLightsInverted(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "lights-inverted"})
	b.serve()
	b.pass(2 * time.Second)
	if got := b.lamps(); got != "lit lit dark" {
		t.Errorf("idle: lamps %q, want those that should be dark", got)
	}
	b.place("show", 0)
	b.pass(2 * time.Second)
	if got := b.lamps(); got != "lit dark lit" {
		t.Errorf("accepted: lamps %q, want all but the one that should be lit", got)
	}
	b.want(b.lines(), "setting polarity = active-high")
}

func TestMasterLost(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "master-lost"})
	b.pass(4 * time.Second)
	b.want(b.touch("master"), "master tag 04 A1 B2 C3 D4 E5 F6 is enrolled")
	n := len(b.lines())
	b.do(virtual.Request{Op: virtual.OpReset})
	b.pass(4 * time.Second)
	b.want(b.since(n), "no master tag yet, show one to enrol it")
}

func TestStuckProgramming(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "stuck-programming"})
	b.pass(4 * time.Second)
	b.touch("master")
	b.want(b.touch("master"), "programming mode on")
	b.touch("master")
	b.never(b.lines(), "programming mode off")
	b.want(b.touch("stranger"), "card 9B 62 F0 0D added")
}

func TestLastCardLost(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "last-card-lost"})
	b.serve()
	b.want(b.touch("show"), "card 5C 0A 91 E3 refused")
	b.touch("master")
	b.want(b.touch("spare"), "card 7E 31 0B 44 added")
	b.touch("master")
	b.want(b.touch("show"), "card 5C 0A 91 E3 accepted")
	b.want(b.touch("spare"), "card 7E 31 0B 44 refused")
}

func TestCardsStay(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "cards-stay"})
	b.serve()
	b.touch("master")
	b.want(b.touch("show"), "card 5C 0A 91 E3 removed")
	b.touch("master")
	b.want(b.touch("show"), "card 5C 0A 91 E3 accepted")
}

func TestFlicker(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "flicker"})
	b.serve()
	n := len(b.lines())
	b.place("show", 0)
	b.pass(20 * time.Second)
	gone := 0
	for _, l := range b.since(n) {
		if l == "tag 5C 0A 91 E3 gone" {
			gone++
		}
	}
	if gone < 8 || gone > 20 {
		t.Errorf("gone %d times in 20 s, want once every second or two", gone)
	}
	healthy := newBench(t, virtual.Config{})
	healthy.serve()
	n = len(healthy.lines())
	healthy.place("show", 0)
	healthy.pass(20 * time.Second)
	healthy.never(healthy.since(n), "tag 5C 0A 91 E3 gone")
}

func TestShortRange(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "short-range"})
	b.serve()
	for range 10 {
		b.want(b.touch("show"), "card 5C 0A 91 E3 accepted")
	}
	n := len(b.lines())
	for range 10 {
		b.place("show", 6.5)
		b.pass(time.Second)
		b.take()
		b.pass(time.Second)
	}
	if got := b.since(n); len(got) > 0 {
		t.Errorf("at 6.5 mm: %q, want nothing read", got)
	}
}

func TestCoilPlusOne(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "coil-plus-one"})
	b.serve()
	b.want(b.touch("show"), "coil 117 written on")
	b.desk.last(t, "unit 1 function 5 address 117 value FF00")
	if slices.Contains(b.desk.whats(0), "unit 1 function 5 address 116 value FF00") {
		t.Error("the planned coil was written as well")
	}
}

func TestCoilStaysOn(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "coil-stays-on"})
	b.serve()
	b.touch("show")
	b.desk.last(t, "unit 1 function 5 address 116 value FF00")
	b.pass(10 * time.Second)
	if slices.Contains(b.desk.whats(0), "unit 1 function 5 address 116 value 0000") {
		t.Error("the coil was switched off")
	}
}

func TestSlowCoil(t *testing.T) {
	b := newBench(t, virtual.Config{Fault: "slow-coil"})
	b.serve()
	b.touch("show")
	b.pass(3 * time.Second)
	on := b.desk.last(t, "unit 1 function 5 address 116 value FF00")
	if delay := on.Sub(b.at("tag 5C 0A 91 E3 on the reader")); delay < 1500*time.Millisecond || delay > 1700*time.Millisecond {
		t.Errorf("coil on after %v, want 1.6 s", delay)
	}
	if off := b.desk.last(t, "unit 1 function 5 address 116 value 0000"); off.Before(on) {
		t.Errorf("off at %v before on at %v", off, on)
	}
}

func TestCable(t *testing.T) {
	for fault, back := range map[string]bool{"": true, "no-reconnect": false} {
		b := newBench(t, virtual.Config{Fault: fault})
		b.serve()
		n := len(b.desk.whats(0))
		b.do(virtual.Request{Op: virtual.OpCable, In: is(false)})
		pulled := b.clock.Now()
		b.pass(10 * time.Second)
		if down := b.at("network link down").Sub(pulled); down > time.Second {
			t.Errorf("%s: link down told after %v, want within 1 s", fault, down)
		}
		if closed := b.desk.last(t, "closed").Sub(pulled); closed < 1900*time.Millisecond || closed > 2100*time.Millisecond {
			t.Errorf("%s: connection closed after %v, want 2 s", fault, closed)
		}
		b.want(b.lines(), "controller 10.77.0.10:502 connection lost")
		b.want(b.touch("show"), "coil 117 not written: no controller")
		b.do(virtual.Request{Op: virtual.OpCable, In: is(true)})
		in := b.clock.Now()
		b.pass(30 * time.Second)
		b.at("network link up")
		got := b.desk.whats(n)
		if connected := slices.Contains(got, "connected"); connected != back {
			t.Errorf("%q: connected again = %t, want %t; notes %v", fault, connected, back, got)
		}
		if back {
			if after := b.desk.last(t, "connected").Sub(in); after > 3*time.Second {
				t.Errorf("connected %v after the cable was in, want within 3 s", after)
			}
			continue
		}
		b.do(virtual.Request{Op: virtual.OpReset})
		b.pass(5 * time.Second)
		if !slices.Contains(b.desk.whats(n), "connected") {
			t.Error("no-reconnect: not connected after a reset either")
		}
	}
}

func TestControllerAwayAndBack(t *testing.T) {
	b := newBench(t, virtual.Config{})
	b.serve()
	n := len(b.desk.whats(0))
	b.desk.hangUp(t)
	b.pass(2 * time.Second)
	b.want(b.lines(), "controller 10.77.0.10:502 connection lost")
	b.pass(10 * time.Second)
	if got := b.desk.whats(n); !slices.Contains(got, "connected") {
		t.Errorf("notes after the controller hung up: %v, want a new connection", got)
	}
}

func TestMisses(t *testing.T) {
	for seed := range uint64(5) {
		b := newBench(t, virtual.Config{Fault: "misses", Seed: seed})
		b.serve()
		before, missed := b.count("card 5C 0A 91 E3 accepted"), 0
		for range 100 {
			n := len(b.lines())
			b.place("show", 6)
			b.pass(time.Second)
			b.take()
			b.pass(time.Second)
			if len(b.since(n)) == 0 {
				missed++
			}
		}
		if missed < 25 || missed > 35 {
			t.Errorf("seed %d: %d of 100 missed, want about 30; accepted before: %d", seed, missed, before)
		}
		b.board.Close()
	}
}

// ownSupply takes USB away and switches the own supply on.
func (b *bench) ownSupply() {
	b.do(virtual.Request{Op: virtual.OpUSB, In: is(false)})
	b.pass(time.Second)
	b.do(virtual.Request{Op: virtual.OpSupply, On: is(true)})
}

// works tells by the controller alone whether the board starts and serves.
func (b *bench) works() bool {
	n := len(b.desk.whats(0))
	b.pass(20 * time.Second)
	b.place("show", 0)
	b.pass(time.Second)
	b.take()
	b.pass(time.Second)
	got := b.desk.whats(n)
	return slices.Contains(got, "connected") && slices.Contains(got, "unit 1 function 5 address 116 value FF00")
}

func TestOwnSupply(t *testing.T) {
	for fault, want := range map[string]bool{"": true, "weak-adapter": false} {
		b := newBench(t, virtual.Config{Fault: fault})
		b.serve()
		b.want(b.touch("show"), "card 5C 0A 91 E3 accepted")
		b.ownSupply()
		if got := b.works(); got != want {
			t.Errorf("%q: in service on its own supply = %t, want %t", fault, got, want)
		}
		b.do(virtual.Request{Op: virtual.OpSupply, On: is(false)})
		b.pass(time.Second)
		b.do(virtual.Request{Op: virtual.OpUSB, In: is(true)})
		n := len(b.lines())
		b.open(115200)
		b.pass(4 * time.Second)
		b.want(b.since(n), "ready")
	}
}

func TestColdStart(t *testing.T) {
	for seed := range uint64(5) {
		b := newBench(t, virtual.Config{Fault: "cold-start", Seed: seed})
		b.serve()
		b.ownSupply()
		var failed []bool
		for range 31 {
			failed = append(failed, !b.works())
			b.do(virtual.Request{Op: virtual.OpSupply, On: is(false)})
			b.pass(5 * time.Second)
			b.do(virtual.Request{Op: virtual.OpSupply, On: is(true)})
		}
		for i := 0; i+10 <= len(failed); i++ {
			n := 0
			for _, f := range failed[i : i+10] {
				if f {
					n++
				}
			}
			if n < 2 || n > 7 {
				t.Errorf("seed %d: starts %d to %d: %d failed, want about four and two at least", seed, i, i+9, n)
			}
		}
		b.board.Close()
	}
}
