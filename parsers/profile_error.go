package parsers

import "fmt"

// A ProfileError reports a profile that cannot be used.
type ProfileError struct {
	File  string
	Line  int    // in the file, from 1; 0 where the file as a whole is meant
	Field string // key, "" where the text as such is broken
	Err   error
}

// Error is one line: file, line, field and reason.
func (e *ProfileError) Error() string {
	where := e.File
	if e.Line > 0 {
		where = fmt.Sprintf("%s:%d", e.File, e.Line)
	}
	if e.Field != "" {
		where += ": field " + e.Field
	}
	return fmt.Sprintf("%s: %v", where, e.Err)
}

// Unwrap is the reason.
func (e *ProfileError) Unwrap() error { return e.Err }

// An OverlapError reports two lines of a profile that both match a text, without
// a word in the profile on which goes first.
type OverlapError struct {
	A, B string // what the two lines say
	Text string // a text that both match
}

// Error names both lines and the text.
func (e *OverlapError) Error() string {
	return fmt.Sprintf("%q and %q both match %q; let one of them go before the other", e.A, e.B, e.Text)
}
