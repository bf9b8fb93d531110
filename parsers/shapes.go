package parsers

import "strings"

// mostPairs is how many pairs of digits are looked at.
const mostPairs = 10

// pairsAt is how long a run of pairs of digits with one kind of sign between them
// is, and how many pairs it has. The run ends where a word or number goes on.
func pairsAt(s string) (n, groups int) {
	var sign byte
	for i := 0; groups < mostPairs && i+2 <= len(s) && isHexDigit(s[i]) && isHexDigit(s[i+1]); {
		if i+2 < len(s) && isWordByte(s[i+2]) {
			break
		}
		groups++
		n = i + 2
		if n == len(s) || strings.IndexByte(" :-.", s[n]) < 0 || groups > 1 && s[n] != sign {
			break
		}
		sign = s[n]
		i = n + 1
	}
	return n, groups
}

// hexAt is how long a run of 8, 14 or 20 digits is, with 0x before it or not.
func hexAt(s string) int {
	n := 0
	if strings.HasPrefix(s, "0x") || strings.HasPrefix(s, "0X") {
		n = 2
	}
	start := n
	for n < len(s) && isHexDigit(s[n]) {
		n++
	}
	if n < len(s) && isWordByte(s[n]) {
		return 0
	}
	switch n - start {
	case 2 * uidSingle, 2 * uidDouble, 2 * uidTriple:
		return n
	}
	return 0
}

// ipAt is how long four decimal numbers with dots between them are.
func ipAt(s string) int {
	i := 0
	for part := range 4 {
		if part > 0 {
			if i >= len(s) || s[i] != '.' {
				return 0
			}
			i++
		}
		digits := 0
		for i < len(s) && '0' <= s[i] && s[i] <= '9' && digits < 4 {
			i++
			digits++
		}
		if digits < 1 || digits > 3 {
			return 0
		}
	}
	if i < len(s) && isWordByte(s[i]) || i+1 < len(s) && s[i] == '.' && isHexDigit(s[i+1]) {
		return 0
	}
	return i
}

// mixedDigits reports whether both letters and decimal digits are among the
// digits; without that, a count or a word is as likely as an identity.
func mixedDigits(s string) bool {
	s = strings.TrimPrefix(strings.TrimPrefix(s, "0x"), "0X")
	return strings.ContainsAny(s, "ABCDEFabcdef") && strings.ContainsAny(s, "0123456789")
}

// isWordByte reports whether a byte is a letter or a digit.
func isWordByte(c byte) bool {
	return '0' <= c && c <= '9' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z'
}

// inDump reports whether pairs of digits that stand at i stand among more such, with
// wider gaps between: groups of a dump of memory, none of which is an identity.
func inDump(text string, i, n int) bool {
	after := strings.TrimLeft(text[i+n:], " ")
	if _, groups := pairsAt(after); groups >= 2 && len(after) < len(text)-i-n {
		return true
	}
	before := strings.TrimRight(text[:i], " ")
	at := len(before) - len("00 00")
	if at < 0 || len(before) == i {
		return false
	}
	_, groups := pairsAt(before[at:])
	return groups == 2
}
