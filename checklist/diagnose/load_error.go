package diagnose

import "fmt"

// A LoadError reports a knowledge file that cannot be used.
type LoadError struct {
	File  string
	Line  int    // in the file, from 1; 0 where the file as a whole is meant
	Field string // key, "" where the text as such is broken
	Err   error
}

// Error is one line: file, line, field and reason.
func (e *LoadError) Error() string {
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
func (e *LoadError) Unwrap() error { return e.Err }
