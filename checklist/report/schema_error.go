package report

import (
	"fmt"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// firstCause goes down to the innermost first reason and names its place as a
// JSON pointer, in one line.
func firstCause(e *jsonschema.ValidationError) string {
	for len(e.Causes) > 0 {
		e = e.Causes[0]
	}
	_, why, _ := strings.Cut(e.Error(), ": ")
	return fmt.Sprintf("at %q: %s", "/"+strings.Join(e.InstanceLocation, "/"), strings.Join(strings.Fields(why), " "))
}
