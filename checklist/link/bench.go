package link

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"strings"
)

// A Card is one of the computer's network interfaces.
type Card struct {
	Name     string         `json:"name"`
	Up       bool           `json:"up"`
	Loopback bool           `json:"loopback,omitempty"`
	Addrs    []netip.Prefix `json:"addresses"`
}

// A BenchCard is a card and what it could do for the bench.
type BenchCard struct {
	Card
	Can string `json:"can"` // one of the Can… words
	Why string `json:"why"`
}

// What a card can do for the bench.
const (
	CanOwns = "owns it" // the controller's address
	CanOwn  = "can own it"
	CanNot  = "leave it"
)

// BenchCards says of each card whether it owns the controller's address, or could be
// given it beside what it has, the best first. bits is the length of the board's
// network.
func BenchCards(cards []Card, controller netip.Addr, bits int) []BenchCard {
	network := netip.PrefixFrom(controller, bits).Masked()
	var looked []BenchCard
	for _, c := range cards {
		looked = append(looked, lookAt(c, controller, network))
	}
	slices.SortStableFunc(looked, func(a, b BenchCard) int {
		return cmp.Or(cmp.Compare(rankOf(a, network), rankOf(b, network)), cmp.Compare(a.Name, b.Name))
	})
	return looked
}

// rankOf orders cards: who owns it, then who may, those of the board's network and
// those that nothing else depends on before others.
func rankOf(c BenchCard, network netip.Prefix) int {
	switch {
	case c.Can == CanOwns:
		return 0
	case c.Can == CanNot:
		return 4
	case inNetwork(c.Card, network):
		return 1
	case !hasOwnAddress(c.Card):
		return 2
	}
	return 3
}

func lookAt(c Card, controller netip.Addr, network netip.Prefix) BenchCard {
	look := func(can, why string) BenchCard { return BenchCard{c, can, why} }
	for _, a := range c.Addrs {
		if a.Addr() == controller {
			if !c.Up {
				return look(CanOwns, "has the controller's address, but is down: switch it on")
			}
			return look(CanOwns, "has the controller's address")
		}
	}
	switch {
	case c.Loopback:
		return look(CanNot, "this computer itself: no board reaches it")
	case isWireless(c.Name):
		return look(CanNot, "by its name wireless: the board is on a cable")
	case isVirtual(c.Name):
		return look(CanNot, "by its name of containers or a tunnel")
	case !c.Up:
		return look(CanNot, "down: no cable, or switched off")
	case inNetwork(c, network):
		return look(CanOwn, "is in the board's network "+network.String())
	case !hasOwnAddress(c):
		return look(CanOwn, "has no address of its own yet")
	}
	return look(CanOwn, "has an address of another network, which stays: the other one is added beside it")
}

func inNetwork(c Card, network netip.Prefix) bool {
	return slices.ContainsFunc(c.Addrs, func(a netip.Prefix) bool { return network.Contains(a.Addr()) })
}

// hasOwnAddress reports whether a card has an IPv4 address that somebody gave it;
// link-local ones (RFC 3927) a computer gives itself.
func hasOwnAddress(c Card) bool {
	return slices.ContainsFunc(c.Addrs, func(a netip.Prefix) bool { return a.Addr().Is4() && !a.Addr().IsLinkLocalUnicast() })
}

// Names by which systems call such cards (common practice, no source).
func isWireless(name string) bool {
	low := strings.ToLower(name)
	return strings.HasPrefix(low, "wl") || strings.Contains(low, "wi-fi") || strings.Contains(low, "wireless")
}

func isVirtual(name string) bool {
	for _, prefix := range []string{"docker", "br-", "virbr", "tun", "tap", "wg", "utun", "awdl", "llw", "vEthernet"} {
		if strings.HasPrefix(name, prefix) {
			return true
		}
	}
	return false
}

// A Command does something, and Undo takes it back.
type Command struct {
	What string `json:"what"`
	Do   string `json:"do"`
	Undo string `json:"undo,omitempty"`
}

// AddressCommand gives a card the controller's address on an operating system as Go
// names them, and takes it away again; ok is false for a system that is not known.
// The commands are those of ip-address(8), ifconfig(8) of macOS and netsh interface
// ipv4 (from memory).
func AddressCommand(system, card string, controller netip.Addr, bits int) (c Command, ok bool) {
	c.What = fmt.Sprintf("give %s the controller's address", card)
	mask := maskOf(bits)
	switch system {
	case "linux":
		c.Do = fmt.Sprintf("sudo ip address add %s/%d dev %s", controller, bits, card)
		c.Undo = fmt.Sprintf("sudo ip address del %s/%d dev %s", controller, bits, card)
	case "darwin":
		c.Do = fmt.Sprintf("sudo ifconfig %s alias %s %s", card, controller, mask)
		c.Undo = fmt.Sprintf("sudo ifconfig %s -alias %s", card, controller)
	case "windows":
		c.Do = fmt.Sprintf("netsh interface ipv4 add address \"%s\" %s %s", card, controller, mask)
		c.Undo = fmt.Sprintf("netsh interface ipv4 delete address \"%s\" %s", card, controller)
	default:
		return Command{}, false
	}
	return c, true
}

// maskOf is a network length as an IPv4 mask.
func maskOf(bits int) netip.Addr {
	m := ^uint32(0) << (32 - bits)
	return netip.AddrFrom4([4]byte{byte(m >> 24), byte(m >> 16), byte(m >> 8), byte(m)})
}

// PortCommand lets a program without privileges listen on a port below 1024; ok is
// false where the system asks for none. On Linux from 4.11 on that bound is a setting
// (ip(7), ip_unprivileged_port_start).
func PortCommand(system string, port int) (c Command, ok bool) {
	if system != "linux" || port >= 1024 {
		return Command{}, false
	}
	return Command{
		What: fmt.Sprintf("let programs listen on port %d, until the computer starts anew", port),
		Do:   fmt.Sprintf("sudo sysctl net.ipv4.ip_unprivileged_port_start=%d", port),
		Undo: "sudo sysctl net.ipv4.ip_unprivileged_port_start=1024",
	}, true
}

// FirewallCommand lets boards reach a port where the system's own firewall is on; ok
// is false where it asks by itself. The commands are those of nft(8), for a table and
// chain of the usual names, and netsh advfirewall (from memory).
func FirewallCommand(system string, port int) (c Command, ok bool) {
	c.What = fmt.Sprintf("where a firewall is on, let boards reach port %d", port)
	switch system {
	case "linux":
		c.Do = fmt.Sprintf("sudo nft insert rule inet filter input tcp dport %d accept comment propwright-bench", port)
		c.Undo = "sudo nft -a list chain inet filter input, then sudo nft delete rule inet filter input handle N of the line propwright-bench"
	case "windows":
		c.Do = fmt.Sprintf("netsh advfirewall firewall add rule name=propwright-bench dir=in action=allow protocol=TCP localport=%d", port)
		c.Undo = "netsh advfirewall firewall delete rule name=propwright-bench"
	default:
		return Command{}, false
	}
	return c, true
}
