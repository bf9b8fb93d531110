package report

import (
	"fmt"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
)

// firstCause goes down to the innermost first reason and names its place as a
// JSON pointer.
func firstCause(e *jsonschema.ValidationError) string {
	for len(e.Causes) > 0 {
		e = e.Causes[0]
	}
	why := e.ErrorKind.LocalizedString(message.NewPrinter(language.English))
	why = strings.Join(strings.Fields(why), " ")
	return fmt.Sprintf("at %q: %s", "/"+strings.Join(e.InstanceLocation, "/"), why)
}
