package diagnose

import "propwright/parsers"

// A LoadError reports a knowledge file that cannot be used: file, line, field and
// reason, as for a wording's.
type LoadError = parsers.ProfileError
