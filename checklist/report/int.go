package report

import (
	"encoding/json"
	"fmt"
	"strconv"
)

// maxExact is the largest whole number that every reader of JSON keeps exactly
// (2^53 - 1, RFC 8785 appendix D).
const maxExact = 1<<53 - 1

// An Int is a whole number that survives canonical JSON: it is written as a
// number where that is exact and as a string of digits beyond (RFC 8785,
// appendix D).
type Int int64

// MarshalJSON writes a number, or a string where a number would lose digits.
func (i Int) MarshalJSON() ([]byte, error) {
	text := strconv.FormatInt(int64(i), 10)
	if i > maxExact || i < -maxExact {
		text = `"` + text + `"`
	}
	return []byte(text), nil
}

// UnmarshalJSON reads either form, and each only where MarshalJSON writes it.
func (i *Int) UnmarshalJSON(b []byte) error {
	var text string
	quoted := json.Unmarshal(b, &text) == nil
	if !quoted {
		text = string(b)
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return fmt.Errorf("%q: not a whole number of 64 bits", text)
	}
	if quoted != (n > maxExact || n < -maxExact) {
		return fmt.Errorf("%s: a string is for numbers beyond 2^53 - 1, and only for those", b)
	}
	*i = Int(n)
	return nil
}
