package reach

import (
	"fmt"
	"propwright/parsers"

	"github.com/BurntSushi/toml"
)

// mostSiteFile is how many bytes a file of a site may have that is read here.
const mostSiteFile = 1 << 16

// decodeSiteFile reads a file of a site into v. known says which keys there are, for
// whoever mistypes one. Errors give the file, and the line where it is known.
func decodeSiteFile(file string, text []byte, v any, known string) error {
	if len(text) > mostSiteFile {
		return fmt.Errorf("%s: %d bytes, at most %d", file, len(text), mostSiteFile)
	}
	meta, err := toml.Decode(string(text), v)
	if err != nil {
		return parsers.BrokenTOML(file, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return fmt.Errorf("%s: key %q: not known, %s", file, unknown[0].String(), known)
	}
	return nil
}
