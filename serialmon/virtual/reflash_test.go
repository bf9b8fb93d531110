package virtual_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"propwright/serialmon/virtual"
)

func enrolled(b *bench) {
	b.t.Helper()
	b.pass(4 * time.Second)
	b.do(virtual.Request{Op: virtual.OpPlace, Role: "master"})
	b.pass(time.Second)
	b.do(virtual.Request{Op: virtual.OpTake})
	b.pass(time.Second)
}

func TestReflashTellsItsVersionAndKeepsOrWipesTheLists(t *testing.T) {
	for name, tt := range map[string]struct {
		wipe bool
		want string
	}{
		"kept":  {want: "master tag on file: 04 A1 B2 C3 D4 E5 F6"},
		"wiped": {wipe: true, want: "no master tag yet, show one to enrol it"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, virtual.Config{})
			enrolled(b)
			flash := virtual.Request{
				Op: virtual.OpReflash, Firmware: "3.3.0-dock", Wipe: tt.wipe,
				Settings: map[string]string{"coil": "118", "polarity": "active-low"},
			}
			if _, err := b.board.Do(flash); err == nil || !strings.Contains(err.Error(), "port open") {
				t.Errorf("with the port open: %v; want it refused", err)
			}
			if err := b.port.Close(); err != nil {
				t.Fatal(err)
			}
			b.do(flash)
			n := len(b.lines())
			b.open(115200)
			b.pass(4 * time.Second)
			for _, line := range []string{"firmware larkspur 3.3.0-dock", "setting coil = 118", "setting polarity = active-low", tt.want} {
				if !slices.Contains(b.since(n), line) {
					t.Errorf("the start lacks %q:\n%s", line, strings.Join(b.since(n), "\n"))
				}
			}
			// The lamps are wired for the old polarity: blue, lit while in service, is dark.
			if !tt.wipe {
				if lamps := b.do(virtual.Request{Op: virtual.OpLamps}).Lamps; !slices.Equal(lamps, []string{"lit", "lit", "dark"}) {
					t.Errorf("lamps %v; want all the other way round", lamps)
				}
			}
		})
	}
}

func TestReflashIsRefusedWhereItCannotBe(t *testing.T) {
	b := newBench(t, virtual.Config{})
	if err := b.port.Close(); err != nil {
		t.Fatal(err)
	}
	for name, r := range map[string]virtual.Request{
		"no version":      {},
		"two words":       {Firmware: "3.3 dock"},
		"unknown setting": {Firmware: "3.3", Settings: map[string]string{"colour": "blue"}},
		"no coil":         {Firmware: "3.3", Settings: map[string]string{"coil": "many"}},
		"no polarity":     {Firmware: "3.3", Settings: map[string]string{"polarity": "up"}},
	} {
		r.Op = virtual.OpReflash
		if _, err := b.board.Do(r); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v; want an error of one line", name, err)
		}
	}
	b.do(virtual.Request{Op: virtual.OpUSB, In: is(false)})
	if _, err := b.board.Do(virtual.Request{Op: virtual.OpReflash, Firmware: "3.3"}); err == nil || !strings.Contains(err.Error(), "USB") {
		t.Errorf("without USB: %v; want it refused", err)
	}
}
