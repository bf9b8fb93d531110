package plan

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net/netip"
	"strconv"
	"strings"
)

// ParseIP reads an address with its network: ADDRESS/BITS or ADDRESS/MASK. It
// checks the form only; a Plan checks whether a device may have the address.
func ParseIP(text string) (netip.Prefix, error) {
	address, network, ok := strings.Cut(text, "/")
	if !ok {
		return netip.Prefix{}, errors.New("its network is missing, as in 10.77.0.57/24 or 10.77.0.57/255.255.255.0")
	}
	a, err := parseAddress(address)
	if err != nil {
		return netip.Prefix{}, err
	}
	bits, err := parseBits(network)
	if err != nil {
		return netip.Prefix{}, err
	}
	return netip.PrefixFrom(a, bits), nil
}

// parseAddress reads an IPv4 address; the network chip knows no other.
func parseAddress(text string) (netip.Addr, error) {
	a, err := netip.ParseAddr(text)
	if err != nil || !a.Is4() {
		return netip.Addr{}, fmt.Errorf("%q is no IPv4 address", text)
	}
	return a, nil
}

func parseBits(text string) (int, error) {
	if !strings.Contains(text, ".") {
		bits, err := strconv.Atoi(text)
		if err != nil || bits < 1 || bits > 31 || strings.HasPrefix(text, "+") {
			return 0, fmt.Errorf("%q is no network length from 1 to 31", text)
		}
		return bits, nil
	}
	m, err := parseAddress(text)
	if err != nil {
		return 0, err
	}
	for bits := 1; bits <= 31; bits++ {
		if maskOf(bits) == m {
			return bits, nil
		}
	}
	return 0, fmt.Errorf("%q is no network mask", text)
}

// maskOf is the mask of a network's length (RFC 950).
func maskOf(bits int) netip.Addr {
	return addrOf(^uint32(0) << (32 - bits))
}

func addrOf(n uint32) netip.Addr {
	var b [4]byte
	binary.BigEndian.PutUint32(b[:], n)
	return netip.AddrFrom4(b)
}

// broadcastOf is the last address of a network; ok is false where all of its
// addresses are hosts (RFC 3021: a network of two).
func broadcastOf(p netip.Prefix) (a netip.Addr, ok bool) {
	if p.Bits() >= 31 {
		return netip.Addr{}, false
	}
	first := p.Masked().Addr().As4()
	return addrOf(binary.BigEndian.Uint32(first[:]) | ^uint32(0)>>p.Bits()), true
}

// deviceAddress says why no device may be given an address, nil when it may.
func deviceAddress(a netip.Addr) error {
	switch {
	case !a.Is4():
		return errors.New("no IPv4 address")
	case zeroNet().Contains(a):
		return errors.New("zero address") // RFC 1122, 3.2.1.3 (a)
	case a.IsLoopback():
		return errors.New("loopback address") // RFC 1122, 3.2.1.3 (g)
	case a.IsMulticast():
		return errors.New("multicast address") // RFC 1112, 4
	case a == addrOf(^uint32(0)):
		return errors.New("broadcast address") // RFC 1122, 3.2.1.3 (c)
	case a.As4()[0] >= 240:
		return errors.New("reserved address") // RFC 1112, 4
	}
	for _, doc := range documentationNets() {
		if doc.Contains(a) {
			return fmt.Errorf("in %v, which is for documentation and not for devices (RFC 5737)", doc)
		}
	}
	return nil
}

// hostAddress says why a device may not have an address in its own network.
func hostAddress(p netip.Prefix) error {
	if err := deviceAddress(p.Addr()); err != nil {
		return err
	}
	last, ok := broadcastOf(p)
	switch {
	case !ok:
		return nil
	case p.Addr() == p.Masked().Addr():
		return fmt.Errorf("network address of %v", p.Masked())
	case p.Addr() == last:
		return fmt.Errorf("broadcast address of %v", p.Masked())
	}
	return nil
}

func zeroNet() netip.Prefix { return netip.PrefixFrom(addrOf(0), 8) }

// documentationNets are TEST-NET-1 to 3 of RFC 5737, 3.
func documentationNets() []netip.Prefix {
	return []netip.Prefix{
		netip.PrefixFrom(netip.AddrFrom4([4]byte{192, 0, 2, 0}), 24),
		netip.PrefixFrom(netip.AddrFrom4([4]byte{198, 51, 100, 0}), 24),
		netip.PrefixFrom(netip.AddrFrom4([4]byte{203, 0, 113, 0}), 24),
	}
}
