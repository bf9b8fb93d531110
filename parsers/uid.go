package parsers

// Sizes of a UID in bytes (ISO/IEC 14443-3, 6.5: single, double and triple size).
const (
	uidSingle = 4
	uidDouble = 7
	uidTriple = 10
)

// CascadeTag is the byte that stands first in every level of a UID but the last
// (ISO/IEC 14443-3, 6.5.4).
const CascadeTag = 0x88

// A UID is a tag's identity: 4, 7 or 10 bytes, or a print that can be read in
// more than one way and is therefore kept as it was printed. UIDs are values:
// two of them are the same tag's exactly if == holds. The order of the bytes is
// that of the print; a reader that prints them reversed yields another UID. The
// zero value names no tag.
type UID struct {
	bytes [uidTriple]byte
	size  int
	print string // not empty exactly for an ambiguous print
}

// String is the UID as joined upper-case hex, or, for an ambiguous one, the
// print behind a "~". ParseUID reads both back.
func (u UID) String() string {
	if u.print != "" {
		return "~" + u.print
	}
	var text [2 * uidTriple]byte
	for i, b := range u.bytes[:u.size] {
		text[2*i], text[2*i+1] = upperHex[b>>4], upperHex[b&15]
	}
	return string(text[:2*u.size])
}

// Ambiguous reports whether the print could not be read in one way only. Such a
// UID still tells a tag from others on the same board, which prints the same tag
// the same way; it must not be compared with what another device printed.
func (u UID) Ambiguous() bool { return u.print != "" }

// Bytes returns a copy of the bytes in the order of the print, nil when ambiguous.
func (u UID) Bytes() []byte {
	if u.size == 0 {
		return nil
	}
	return append([]byte(nil), u.bytes[:u.size]...)
}

// Len is the number of bytes: 4, 7 or 10, and 0 when ambiguous.
func (u UID) Len() int { return u.size }

// Equal reports whether u and v are the same; it is == as a method.
func (u UID) Equal(v UID) bool { return u == v }

// Random reports whether the UID is one that a phone or a privacy card makes up
// anew at each power-up: 4 bytes, the first 0x08 (ISO/IEC 14443-3:2016, table 11).
// Such a UID must never become a key.
func (u UID) Random() bool { return u.size == uidSingle && u.bytes[0] == 0x08 }

// Truncated reports whether the UID is the first level of a longer one: 4 bytes,
// the first the cascade tag. Firmware that reads one level only prints these, and
// a batch of tags may share them.
func (u UID) Truncated() bool { return u.size == uidSingle && u.bytes[0] == CascadeTag }

// Manufacturer returns the manufacturer byte (ISO/IEC 7816-6 register) and true
// for UIDs of 7 and 10 bytes. The first byte of a 4-byte UID is no manufacturer code.
func (u UID) Manufacturer() (byte, bool) {
	if u.size < uidDouble {
		return 0, false
	}
	return u.bytes[0], true
}

// MarshalText gives the UID as String does.
func (u UID) MarshalText() ([]byte, error) { return []byte(u.String()), nil }

// UnmarshalText reads what MarshalText gives and any other common print.
func (u *UID) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*u = UID{}
		return nil
	}
	v, err := ParseUID(string(text))
	if err != nil {
		return err
	}
	*u = v
	return nil
}

// uidOf makes a UID of 4, 7 or 10 bytes; ok is false for any other number.
func uidOf(b []byte) (u UID, ok bool) {
	switch len(b) {
	case uidSingle, uidDouble, uidTriple:
		u.size = copy(u.bytes[:], b)
		return u, true
	}
	return UID{}, false
}
