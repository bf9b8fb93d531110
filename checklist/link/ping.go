package link

import (
	"encoding/binary"
	"errors"
)

// ErrNoPing says that this computer's system, or its user's rights, let no program ping.
var ErrNoPing = errors.New("a ping is not possible here")

// Types of ICMP messages (RFC 792).
const (
	icmpEchoReply = 0
	icmpEcho      = 8
)

// echoRequest is an ICMP echo message (RFC 792) of an identifier and a sequence number.
func echoRequest(id, seq uint16) []byte {
	m := make([]byte, 8)
	m[0] = icmpEcho
	binary.BigEndian.PutUint16(m[4:], id)
	binary.BigEndian.PutUint16(m[6:], seq)
	binary.BigEndian.PutUint16(m[2:], internetChecksum(m))
	return m
}

// echoed reports whether m is the reply to the request of a sequence number. The
// identifier is not looked at: a system that lets everybody ping sets its own.
func echoed(m []byte, seq uint16) bool {
	return len(m) >= 8 && m[0] == icmpEchoReply && m[1] == 0 && binary.BigEndian.Uint16(m[6:]) == seq && internetChecksum(m) == 0
}

// internetChecksum is that of RFC 1071; over a message that holds its own it is 0.
func internetChecksum(b []byte) uint16 {
	sum := uint32(0)
	for ; len(b) > 1; b = b[2:] {
		sum += uint32(b[0])<<8 | uint32(b[1])
	}
	if len(b) == 1 {
		sum += uint32(b[0]) << 8
	}
	for sum>>16 != 0 {
		sum = sum>>16 + sum&0xFFFF
	}
	return ^uint16(sum)
}
