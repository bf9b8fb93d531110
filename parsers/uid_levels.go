package parsers

// A CascadeLevel is what one step of the selection sends of a UID: four bytes,
// the first the cascade tag unless it is the last level, and their check byte.
type CascadeLevel struct {
	Bytes [4]byte
	BCC   byte
}

// CascadeLevels returns the one, two or three levels in which the UID goes over
// the air (ISO/IEC 14443-3, 6.5.4); nil for an ambiguous or zero UID.
func (u UID) CascadeLevels() []CascadeLevel {
	var levels []CascadeLevel
	rest := u.bytes[:u.size]
	for len(rest) > 0 {
		var l CascadeLevel
		if len(rest) > len(l.Bytes) {
			l.Bytes[0] = CascadeTag
			rest = rest[copy(l.Bytes[1:], rest):]
		} else {
			rest = rest[copy(l.Bytes[:], rest):]
		}
		l.BCC = BCC(l.Bytes[:])
		levels = append(levels, l)
	}
	return levels
}

// BCC is the check byte of a cascade level: the exclusive or of its bytes
// (ISO/IEC 14443-3, 6.5.4).
func BCC(b []byte) byte {
	var x byte
	for _, c := range b {
		x ^= c
	}
	return x
}

// CRCA is the CRC_A of a frame, in the order in which it goes over the air, low
// byte first (ISO/IEC 14443-3, annex B: x^16+x^12+x^5+1, preset 0x6363).
func CRCA(b []byte) [2]byte {
	crc := uint16(0x6363)
	for _, c := range b {
		crc ^= uint16(c)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0x8408 // the polynomial, reflected
			} else {
				crc >>= 1
			}
		}
	}
	return [2]byte{byte(crc), byte(crc >> 8)}
}
