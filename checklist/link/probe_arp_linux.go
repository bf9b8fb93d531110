package link

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Numbers of ARP (RFC 826) as RFC 5227 uses it.
const (
	arpHardware = 1 // Ethernet
	arpRequest  = 1
	arpSize     = 28
)

// Ask asks who has the addresses and returns who answered. It fails with ErrNoARP where
// the user may not, and with ctx's cause.
func (p ARPProbe) Ask(ctx context.Context, addresses []netip.Addr) (Owners, error) {
	card, err := net.InterfaceByName(p.Card)
	if err != nil {
		return nil, fmt.Errorf("network card %q: %w", p.Card, err)
	}
	if len(card.HardwareAddr) != 6 {
		return nil, fmt.Errorf("%w: network card %q has no Ethernet address", ErrNoARP, p.Card)
	}
	s, err := unix.Socket(unix.AF_PACKET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, int(swap(unix.ETH_P_ARP)))
	if err != nil {
		if errors.Is(err, fs.ErrPermission) {
			return nil, fmt.Errorf("%w: it needs CAP_NET_RAW, which root has", ErrNoARP)
		}
		return nil, fmt.Errorf("arp probe: %w", err)
	}
	defer unix.Close(s)
	at := unix.SockaddrLinklayer{Protocol: swap(unix.ETH_P_ARP), Ifindex: card.Index}
	if err := unix.Bind(s, &at); err != nil {
		return nil, fmt.Errorf("arp probe: %w", err)
	}
	to := at
	to.Halen = 6
	for i := range 6 {
		to.Addr[i] = 0xFF
	}
	owners := Owners{}
	if p.Asks <= 0 {
		p.Asks = arpAsks
	}
	if p.Between <= 0 {
		p.Between = arpBetween
	}
	for i := range p.Asks {
		for _, a := range addresses {
			if err := unix.Sendto(s, probeOf(card.HardwareAddr, a), 0, &to); err != nil {
				return nil, fmt.Errorf("arp probe on %s: %w", p.Card, err)
			}
		}
		wait := p.Between
		if i == p.Asks-1 {
			wait *= announceWait
		}
		if err := hear(ctx, s, wait, card.HardwareAddr, addresses, owners); err != nil {
			return nil, err
		}
	}
	return owners, nil
}

// swap is a number in network order, as the kernel wants it.
func swap(n uint16) uint16 {
	return binary.NativeEndian.Uint16(binary.BigEndian.AppendUint16(nil, n))
}

// probeOf is an ARP probe (RFC 5227, 1.1: sender address zero).
func probeOf(mac net.HardwareAddr, target netip.Addr) []byte {
	b := binary.BigEndian.AppendUint16(nil, arpHardware)
	b = binary.BigEndian.AppendUint16(b, unix.ETH_P_IP)
	b = append(b, 6, 4)
	b = binary.BigEndian.AppendUint16(b, arpRequest)
	b = append(b, mac...)
	b = append(b, 0, 0, 0, 0)
	b = append(b, 0, 0, 0, 0, 0, 0)
	ip := target.As4()
	return append(b, ip[:]...)
}

// hear takes down who speaks as the owner of one of the addresses, for a while: answers,
// and what an owner sends of its own (RFC 5227, 2.1.1: any ARP packet with that sender).
func hear(ctx context.Context, s int, during time.Duration, own net.HardwareAddr, addresses []netip.Addr, owners Owners) error {
	end := time.Now().Add(during)
	b := make([]byte, 128)
	for {
		left := time.Until(end)
		if err := context.Cause(ctx); err != nil || left <= 0 {
			return err
		}
		n, _, err := unix.Recvfrom(s, b, 0)
		if errors.Is(err, unix.EAGAIN) || errors.Is(err, unix.EINTR) {
			poll := []unix.PollFd{{Fd: int32(s), Events: unix.POLLIN}}
			_, _ = unix.Poll(poll, int(min(left, 100*time.Millisecond).Milliseconds())+1) // an interrupted wait looks again
			continue
		}
		if err != nil {
			return fmt.Errorf("arp probe: %w", err)
		}
		if n < arpSize || bytes.Equal(b[8:14], own) {
			continue
		}
		ip := netip.AddrFrom4([4]byte(b[14:18]))
		mac := strings.ToUpper(net.HardwareAddr(b[8:14]).String())
		if slices.Contains(addresses, ip) && !slices.Contains(owners[ip.String()], mac) {
			owners[ip.String()] = append(owners[ip.String()], mac)
		}
	}
}
