package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"strconv"
	"time"

	"golang.org/x/sys/unix"
)

func init() { helpers["slow-cable"] = func() { os.Exit(slowCable(os.Args[1:])) } }

// slowCable is a network cable between two cards of this network namespace, for kernels
// without netem: it brings each frame over later than it came, and drops some of those of
// IPv4 by chance (who has an address is asked three times at most, so those come over).
//
//	slow-cable CARD CARD DELAY LOST SEED
//
// DELAY is one way, such as 1.1s; LOST is the share of frames dropped, 0 to 1. It runs
// until it is ended.
func slowCable(args []string) int {
	if len(args) != 5 {
		fmt.Fprintln(os.Stderr, "slow-cable CARD CARD DELAY LOST SEED")
		return 2
	}
	delay, err1 := time.ParseDuration(args[2])
	lost, err2 := strconv.ParseFloat(args[3], 64)
	seed, err3 := strconv.ParseUint(args[4], 10, 64)
	a, err4 := openCard(args[0])
	b, err5 := openCard(args[1])
	if err := errors.Join(err1, err2, err3, err4, err5); err != nil {
		fmt.Fprintln(os.Stderr, "slow-cable:", err)
		return 2
	}
	fmt.Println("plugged in")
	broken := make(chan error)
	go func() { broken <- carry(a, b, delay, lost, rand.New(rand.NewPCG(seed, 1))) }()
	go func() { broken <- carry(b, a, delay, lost, rand.New(rand.NewPCG(seed, 2))) }()
	fmt.Fprintln(os.Stderr, "slow-cable:", <-broken)
	return 1
}

// openCard opens a card for whole frames (packet(7)). Each frame has the kernel's header
// about its checksum before it, for between two cards of one computer that is often
// not made yet.
func openCard(name string) (socket int, err error) {
	card, err := net.InterfaceByName(name)
	if err != nil {
		return 0, fmt.Errorf("card %q: %w", name, err)
	}
	all := uint16(unix.ETH_P_ALL<<8 | unix.ETH_P_ALL>>8) // in network order; ETH_P_ALL is 3
	socket, err = unix.Socket(unix.AF_PACKET, unix.SOCK_RAW|unix.SOCK_CLOEXEC, int(all))
	if err != nil {
		return 0, fmt.Errorf("card %q: %w", name, err)
	}
	return socket, errors.Join(
		unix.SetsockoptInt(socket, unix.SOL_PACKET, unix.PACKET_VNET_HDR, 1),
		unix.SetsockoptInt(socket, unix.SOL_PACKET, unix.PACKET_IGNORE_OUTGOING, 1),
		unix.Bind(socket, &unix.SockaddrLinklayer{Protocol: all, Ifindex: card.Index}),
	)
}

// carry brings frames from one card to the other, in their order.
func carry(from, to int, delay time.Duration, lost float64, random *rand.Rand) error {
	type due struct {
		frame []byte
		at    time.Time
	}
	under := make(chan due, 1024)
	broken := make(chan error, 1)
	go func() {
		for d := range under {
			<-time.After(time.Until(d.at))
			if _, err := unix.Write(to, d.frame); err != nil && !errors.Is(err, unix.ENETDOWN) {
				broken <- err
				return
			}
		}
	}()
	buf := make([]byte, 1<<17) // a frame may be one that the card is to cut up
	for {
		n, err := unix.Read(from, buf)
		if err != nil && !errors.Is(err, unix.ENETDOWN) {
			return err
		}
		if err != nil || carriesIP(buf[:n]) && random.Float64() < lost {
			continue
		}
		select {
		case under <- due{append([]byte(nil), buf[:n]...), time.Now().Add(delay)}:
		case err := <-broken:
			return err
		}
	}
}

// carriesIP reports whether a frame behind the kernel's header (struct virtio_net_hdr, 10
// bytes) holds IPv4 (EtherType 0800, IEEE 802.3 and RFC 894).
func carriesIP(b []byte) bool {
	const at = 10 + 12
	return len(b) > at+1 && b[at] == 0x08 && b[at+1] == 0x00
}
