package plan

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
)

// A MAC is a 48-bit network hardware address. The zero value names none.
type MAC [6]byte

// ParseMAC reads six bytes in hexadecimal with colons, dashes or dots between
// them, each with or without its leading zero, or twelve digits joined.
func ParseMAC(text string) (MAC, error) {
	parts := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(":-.", r) })
	if len(parts) == 1 && len(text) == 12 {
		parts = []string{text[0:2], text[2:4], text[4:6], text[6:8], text[8:10], text[10:12]}
	}
	if len(parts) != len(MAC{}) {
		return MAC{}, errors.New("not six bytes, as in 02:54:57:00:00:57")
	}
	var m MAC
	for i, p := range parts {
		if len(p) == 1 {
			p = "0" + p
		}
		b, err := hex.DecodeString(p)
		if err != nil || len(b) != 1 {
			return MAC{}, fmt.Errorf("%q is no byte in hexadecimal", parts[i])
		}
		m[i] = b[0]
	}
	return m, nil
}

// String is the address in lower case with colons.
func (m MAC) String() string {
	return fmt.Sprintf("%02x:%02x:%02x:%02x:%02x:%02x", m[0], m[1], m[2], m[3], m[4], m[5])
}

// IsZero reports whether m names no address.
func (m MAC) IsZero() bool { return m == MAC{} }

// Group reports whether m names a group of stations and so can be no board's own
// (RFC 9542, 2.1.1: the M bit).
func (m MAC) Group() bool { return m[0]&1 != 0 }

// Local reports whether m is locally administered and not from a maker's block
// (RFC 9542, 2.1.1: the X bit).
func (m MAC) Local() bool { return m[0]&2 != 0 }

// Documentation reports whether m is from the ranges set aside for writing about
// (RFC 9542, 2.1.4).
func (m MAC) Documentation() bool {
	switch [5]byte(m[:5]) {
	case [5]byte{0x00, 0x00, 0x5E, 0x00, 0x53}, [5]byte{0x01, 0x00, 0x5E, 0x90, 0x10}:
		return true
	}
	return false
}

// MarshalText is String; the zero value gives no text.
func (m MAC) MarshalText() ([]byte, error) {
	if m.IsZero() {
		return nil, nil
	}
	return []byte(m.String()), nil
}

// UnmarshalText is ParseMAC; no text gives the zero value.
func (m *MAC) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*m = MAC{}
		return nil
	}
	v, err := ParseMAC(string(text))
	if err != nil {
		return err
	}
	*m = v
	return nil
}
