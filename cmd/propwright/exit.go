package main

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"
)

// The exit statuses that scripts rely on.
const (
	statusDone        = 0   // done, all passed
	statusVerdict     = 1   // done, something failed, was skipped or is not confirmed
	statusUsage       = 2   // wrong usage
	statusTool        = 3   // the tool's own side failed
	statusInterrupted = 130 // ended by the person; can be resumed
)

// usageError is wrong usage: status 2.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

// toolError is a failure of the tool's own side: status 3. what is the thing, err
// the reason, try what may help ("" when nothing is known to).
type toolError struct {
	what string
	err  error
	try  string
}

func (e toolError) Error() string {
	switch {
	case e.err == nil:
		return e.what
	case e.what == "":
		return e.err.Error()
	}
	return e.what + ": " + e.err.Error()
}
func (e toolError) Unwrap() error { return e.err }

// interruptedError is a run that was ended from outside: status 130.
type interruptedError struct{ err error }

func (e interruptedError) Error() string { return "interrupted" }
func (e interruptedError) Unwrap() error { return e.err }

// errVerdict says that all worked and the verdict is not "passed": status 1. What
// there is to say was printed already, so nothing is printed for it.
var errVerdict = errors.New("not passed")

// exitStatus is the one table from errors to statuses. An error of no type is the
// tool's own side.
func exitStatus(err error) int {
	if _, ok := errors.AsType[interruptedError](err); ok {
		return statusInterrupted
	}
	if _, ok := errors.AsType[usageError](err); ok {
		return statusUsage
	}
	switch {
	case err == nil:
		return statusDone
	case errors.Is(err, errVerdict):
		return statusVerdict
	}
	return statusTool
}

// printError prints an error as the contract has it, `propwright: WHAT: WHY` and
// perhaps a line that begins with `try:`, and returns the exit status.
func printError(w io.Writer, err error) int {
	status := exitStatus(err)
	switch status {
	case statusDone, statusVerdict:
		return status
	}
	fmt.Fprintf(w, "propwright: %s\n", oneLine(err.Error()))
	if try := hint(err, status); try != "" {
		fmt.Fprintf(w, "try: %s\n", oneLine(try))
	}
	return status
}

func hint(err error, status int) string {
	if e, ok := errors.AsType[toolError](err); ok && e.try != "" {
		return e.try
	}
	if e, ok := errors.AsType[hintedError](err); ok {
		return e.try
	}
	if status == statusUsage {
		return "propwright --help"
	}
	return ""
}

// hintedError adds what to try to an error of any status.
type hintedError struct {
	err error
	try string
}

func (e hintedError) Error() string { return e.err.Error() }
func (e hintedError) Unwrap() error { return e.err }

// oneLine keeps a message on one line and harmless, whatever was wrapped in it.
// Errors that were joined come a line each.
func oneLine(text string) string {
	var b strings.Builder
	for _, r := range strings.ReplaceAll(text, "\n", "; ") {
		if unicode.IsPrint(r) {
			b.WriteRune(r)
			continue
		}
		quoted := strconv.QuoteRune(r)
		b.WriteString(quoted[1 : len(quoted)-1])
	}
	return b.String()
}
