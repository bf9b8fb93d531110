package diagnose

import (
	"regexp"
	"sync"
)

// toCheck are all that is read lazily, for a test to read it: what is broken in the
// program's own text is to be found before it is used.
var toCheck []func()

// lazily is a regular expression that is compiled when it is first used, so that commands
// which diagnose nothing do not pay for it.
func lazily(text string) func() *regexp.Regexp {
	get := sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })
	toCheck = append(toCheck, func() { get() })
	return get
}
