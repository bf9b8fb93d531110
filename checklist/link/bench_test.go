package link_test

import (
	"net/netip"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/link"
)

// Which card is for the bench, in the order of preference. The controller is
// 10.77.0.10 in a network of 24 bits.
func TestWhichCardIsForTheBench(t *testing.T) {
	card := func(name string, up bool, addrs ...string) link.Card {
		c := link.Card{Name: name, Up: up, Loopback: name == "lo"}
		for _, a := range addrs {
			c.Addrs = append(c.Addrs, netip.MustParsePrefix(a))
		}
		return c
	}
	lo := card("lo", true, "127.0.0.1/8", "::1/128")
	for name, tt := range map[string]struct {
		cards []link.Card
		want  []string // name: what it can
	}{
		"owned already":            {[]link.Card{lo, card("eth0", true, "192.168.1.23/24"), card("eth1", true, "10.77.0.10/24")}, []string{"eth1: owns it", "eth0: can own it", "lo: leave it"}},
		"in the board's network":   {[]link.Card{lo, card("eth0", true, "192.168.1.23/24"), card("eth1", true), card("eth2", true, "10.77.0.200/24")}, []string{"eth2: can own it", "eth1: can own it", "eth0: can own it", "lo: leave it"}},
		"link-local is no address": {[]link.Card{card("eth0", true, "192.168.1.23/24"), card("eth1", true, "169.254.7.8/16", "fe80::1/64")}, []string{"eth1: can own it", "eth0: can own it"}},
		"only wireless":            {[]link.Card{lo, card("wlan0", true, "192.168.1.23/24")}, []string{"lo: leave it", "wlan0: leave it"}},
		"no cable":                 {[]link.Card{lo, card("eth0", false)}, []string{"eth0: leave it", "lo: leave it"}},
		"containers":               {[]link.Card{card("docker0", true, "172.17.0.1/16"), card("en5", true)}, []string{"en5: can own it", "docker0: leave it"}},
		"a neighbour of it":        {[]link.Card{card("eth0", true, "10.77.1.10/24")}, []string{"eth0: can own it"}},
	} {
		t.Run(name, func(t *testing.T) {
			var got []string
			for _, c := range link.BenchCards(tt.cards, netip.MustParseAddr("10.77.0.10"), 24) {
				got = append(got, c.Name+": "+c.Can)
				if c.Why == "" {
					t.Errorf("%s: no reason", c.Name)
				}
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("cards (-want +got):\n%s", diff)
			}
		})
	}
}

// What is to be typed on each system; the Linux ones are run for real by the test in
// a network namespace, the others stand here from memory.
func TestCommandsForTheBenchAndTheirWayBack(t *testing.T) {
	controller := netip.MustParseAddr("10.77.0.10")
	for system, want := range map[string]link.Command{
		"linux":   {Do: "sudo ip address add 10.77.0.10/23 dev eth1", Undo: "sudo ip address del 10.77.0.10/23 dev eth1"},
		"darwin":  {Do: "sudo ifconfig eth1 alias 10.77.0.10 255.255.254.0", Undo: "sudo ifconfig eth1 -alias 10.77.0.10"},
		"windows": {Do: `netsh interface ipv4 add address "eth1" 10.77.0.10 255.255.254.0`, Undo: `netsh interface ipv4 delete address "eth1" 10.77.0.10`},
	} {
		got, ok := link.AddressCommand(system, "eth1", controller, 23)
		if !ok || got.Do != want.Do || got.Undo != want.Undo {
			t.Errorf("%s: %+v, %t; want %+v", system, got, ok, want)
		}
	}
	if c, ok := link.AddressCommand("plan9", "ether0", controller, 24); ok {
		t.Errorf("plan9: %+v", c)
	}
	if _, ok := link.PortCommand("linux", 1502); ok {
		t.Error("a port from 1024 on needs no privilege")
	}
	if c, ok := link.PortCommand("linux", 502); !ok || c.Do == "" || c.Undo == "" {
		t.Errorf("port 502 on Linux: %+v, %t", c, ok)
	}
	if _, ok := link.FirewallCommand("darwin", 502); ok {
		t.Error("macOS asks by itself")
	}
}
