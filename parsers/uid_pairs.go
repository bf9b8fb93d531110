package parsers

// pairsUID reads the prints that nearly all firmware has: 4, 7 or 10 pairs of
// digits, all joined or all with the same blank, colon or dash between. ok is false
// for every other print, which ParseUID takes apart at leisure; what it reads here it
// would read the same there.
func pairsUID(text string) (u UID, ok bool) {
	step := 3
	if len(text) > 2 && isHexDigit(text[2]) {
		step = 2
	}
	n := (len(text) + step - 2) / step
	if n != uidSingle && n != uidDouble && n != uidTriple || len(text) != n*step-(step-2) {
		return UID{}, false
	}
	for i := range n {
		at := i * step
		hi, lo := hexValue[text[at]], hexValue[text[at+1]]
		if hi|lo >= 0x10 {
			return UID{}, false
		}
		if step == 3 && i < n-1 && (text[at+2] != text[2] || text[2] != ' ' && text[2] != ':' && text[2] != '-') {
			return UID{}, false
		}
		u.bytes[i] = hi<<4 | lo
	}
	u.size = n
	return u, true
}

// hexValue is the value of a hexadecimal digit, 0xFF of any other byte.
var hexValue = func() (values [256]byte) {
	for c := range values {
		switch b := byte(c); {
		case '0' <= b && b <= '9':
			values[c] = b - '0'
		case 'a' <= b && b <= 'f':
			values[c] = b - 'a' + 10
		case 'A' <= b && b <= 'F':
			values[c] = b - 'A' + 10
		default:
			values[c] = 0xFF
		}
	}
	return values
}()
