package plan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	maxName = 40  // of a thing, characters
	maxText = 120 // of a description, characters
)

// A FieldError says which field of a thing breaks a rule, and how.
type FieldError struct {
	Field string
	Value string // as it was given; "" when it is missing
	Err   error
}

func (e *FieldError) Error() string {
	if e.Value == "" {
		return fmt.Sprintf("%s: %v", e.Field, e.Err)
	}
	return fmt.Sprintf("%s %q: %v", e.Field, e.Value, e.Err)
}

// Unwrap is the reason.
func (e *FieldError) Unwrap() error { return e.Err }

func bad(field string, value any, reason string, a ...any) error {
	return &FieldError{Field: field, Value: fmt.Sprint(value), Err: fmt.Errorf(reason, a...)}
}

// checkName checks a name of the site's things: what is safe in a path, an
// address line and a spoken sentence.
func checkName(field, name string) error {
	switch {
	case name == "":
		return bad(field, "", "missing")
	case len(name) > maxName:
		return bad(field, name, "%d characters, at most %d", len(name), maxName)
	case !isName(name):
		return bad(field, name, "must be lower-case letters and digits with single dashes between, as in harbour-bell")
	}
	return nil
}

func isName(name string) bool {
	dash := true // a dash may neither begin nor follow another
	for _, c := range []byte(name) {
		switch {
		case 'a' <= c && c <= 'z', '0' <= c && c <= '9':
			dash = false
		case c == '-' && !dash:
			dash = true
		default:
			return false
		}
	}
	return !dash
}

// checkText checks a description: short, and nothing that a terminal would obey.
func checkText(field, text string) error {
	switch {
	case !utf8.ValidString(text):
		return bad(field, text, "not UTF-8")
	case utf8.RuneCountInString(text) > maxText:
		return bad(field, text, "%d characters, at most %d", utf8.RuneCountInString(text), maxText)
	case text != strings.TrimSpace(text):
		return bad(field, text, "blanks at an end")
	case strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }):
		return bad(field, text, "a character that does not print")
	}
	return nil
}

// checkWord checks a field of fixed words; must says that it may not be empty.
func checkWord(field, word string, must bool) error {
	switch {
	case word == "" && !must, slices.Contains(words(field), word):
		return nil
	case word == "":
		return bad(field, "", "missing: %s", strings.Join(words(field), ", "))
	}
	return bad(field, word, "must be one of: %s", strings.Join(words(field), ", "))
}

func checkRange(field string, n, least, most int) error {
	if n < least || n > most {
		return bad(field, strconv.Itoa(n), "must be %d to %d", least, most)
	}
	return nil
}

// first returns the first error.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Nearest returns the candidate that differs least from word, "" when none is
// near enough to be a likely slip.
func Nearest(word string, candidates []string) string {
	best, least := "", 1+len(word)/3
	for _, c := range candidates {
		if d := distance(word, c); d <= least && (best == "" || d < distance(word, best)) {
			best = c
		}
	}
	return best
}

// distance counts the letters to insert, drop or change (Levenshtein).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		corner := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := corner
			if a[i-1] != b[j-1] {
				change++
			}
			corner = row[j]
			row[j] = min(change, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
