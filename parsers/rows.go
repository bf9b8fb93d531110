package parsers

import "bytes"

// mostRows is how many bytes the longest UID has (ISO/IEC 14443-3: triple size).
const mostRows = uidTriple

// row takes a line that may be a byte of a label's value, one a line; ok is false where
// the value has ended before.
func (p *pendingLabel) row(l *summedLine) (ok bool) {
	digits := bytes.TrimSpace(l.Raw)
	if len(p.rows) == mostRows || len(digits) == 0 || len(digits) > 3 {
		return false
	}
	for _, c := range digits {
		if !isHexDigit(c) {
			return false
		}
	}
	if n := len(p.rows); n > 0 && (p.rows[n-1].End == EndCut || p.rows[n-1].End == "") {
		return false
	}
	own := *l
	own.Raw = bytes.Clone(l.Raw)
	p.rows = append(p.rows, own)
	return true
}

// value is the bytes of the rows on one line.
func (p *pendingLabel) value() []byte {
	var text []byte
	for i, l := range p.rows {
		if i > 0 {
			text = append(text, ' ')
		}
		text = append(text, bytes.TrimSpace(l.Raw)...)
	}
	return text
}
