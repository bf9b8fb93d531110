package plan

import (
	"cmp"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"path/filepath"
	"propwright/parsers"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// A SiteFile is what site.toml holds: the settings of the tool at one site. What
// the site owns is in its store.
type SiteFile struct {
	Name     string   `toml:"name"`
	Store    string   `toml:"store"` // a file in the site's folder, or postgres://…
	Defaults Defaults `toml:"defaults"`
	// Limits take the place of parameters of the same name in the steps of a
	// procedure; LimitNames lists those a site may set.
	Limits map[string]float64 `toml:"limits"`
}

// Defaults are used where the command line says nothing. Empty fields leave the
// choice to the command.
type Defaults struct {
	Wording string `toml:"wording"`
	Speed   Speed  `toml:"speed"`  // of the console
	Listen  string `toml:"listen"` // of the stand-in controller, ADDRESS:PORT
}

// A Speed is a console's speed in baud; 0 is to find it out.
type Speed int

// UnmarshalTOML reads a number or "auto".
func (s *Speed) UnmarshalTOML(v any) error {
	switch v := v.(type) {
	case int64:
		if v >= 50 && v <= 4000000 {
			*s = Speed(v)
			return nil
		}
	case string:
		if v == "auto" {
			*s = 0
			return nil
		}
	}
	return fmt.Errorf(`speed %v: must be "auto" or a number from 50 to 4000000`, v)
}

// LimitNames are the limits that a site may set: seconds from the tag to the coil, and
// millimetres that a range is to go beyond the cover, and beyond which it is remarkable.
func LimitNames() []string {
	return append([]string{"delay_pass_s", "delay_fail_s"}, RangeLimitNames()...)
}

// RangeLimitNames are those of the limits that are a range's.
// far_card_mm and its like are far_mm of one form of tag.
func RangeLimitNames() []string {
	names := []string{"margin_mm", "far_mm"}
	for _, form := range words("form") {
		names = append(names, "far_"+form+"_mm")
	}
	return names
}

// maxLimit bounds a limit, in seconds or millimetres.
const maxLimit = 3600.0

// maxSiteFile bounds a site file in bytes.
const maxSiteFile = 1 << 20

// ParseSiteFile reads a site file. file names it in errors, which give the line
// where it is known and the key.
func ParseSiteFile(file string, text []byte) (SiteFile, error) {
	if len(text) > maxSiteFile {
		return SiteFile{}, fmt.Errorf("%s: %d bytes, at most %d", file, len(text), maxSiteFile)
	}
	var f SiteFile
	meta, err := toml.Decode(string(text), &f)
	if err != nil {
		return SiteFile{}, parsers.BrokenTOML(file, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return SiteFile{}, fmt.Errorf("%s: %w", where(file, text, unknown[0]), unknownSiteKey(unknown[0]))
	}
	if key, err := f.check(); err != nil {
		return SiteFile{}, fmt.Errorf("%s: %w", where(file, text, key), err)
	}
	return f, nil
}

func unknownSiteKey(key toml.Key) error {
	known := []string{"name", "store", "defaults.wording", "defaults.speed", "defaults.listen"}
	for _, l := range LimitNames() {
		known = append(known, "limits."+l)
	}
	if near := Nearest(key.String(), known); near != "" {
		return fmt.Errorf("key %q: not known, did you mean %s?", key.String(), near)
	}
	return fmt.Errorf("key %q: not known, there are: %s", key.String(), strings.Join(known, ", "))
}

// check returns the first key with a value that breaks a rule.
func (f SiteFile) check() (toml.Key, error) {
	if f.Name == "" {
		return toml.Key{"name"}, bad("name", "", "missing")
	}
	if err := checkText("name", f.Name); err != nil {
		return toml.Key{"name"}, err
	}
	if err := checkStore(f.Store); err != nil {
		return toml.Key{"store"}, err
	}
	if err := checkText("wording", f.Defaults.Wording); err != nil {
		return toml.Key{"defaults", "wording"}, err
	}
	if err := checkListen(f.Defaults.Listen); err != nil {
		return toml.Key{"defaults", "listen"}, err
	}
	for name, v := range f.Limits {
		if !slices.Contains(LimitNames(), name) {
			return toml.Key{"limits", name}, unknownSiteKey(toml.Key{"limits", name})
		}
		if !(v > 0 && v <= maxLimit) {
			return toml.Key{"limits", name}, bad(name, v, "must be above 0 and at most %v", maxLimit)
		}
	}
	return nil, nil
}

// checkStore lets through a plain file name, so that the store stays in the
// site's folder, or the address of a server.
func checkStore(store string) error {
	switch u, err := url.Parse(store); {
	case store == "":
		return bad("store", "", "missing, as in store = \"site.db\"")
	case strings.HasPrefix(store, "postgres://") && err == nil && u.Host != "":
		return nil
	case strings.HasPrefix(store, "postgres://"):
		return bad("store", "", "no address of a server") // it may hold a password
	case store != filepath.Base(store) || strings.ContainsAny(store, `/\:`) || strings.HasPrefix(store, "."):
		return bad("store", store, "must be a file name in the site's folder, or postgres://…")
	}
	return checkText("store", store)
}

func checkListen(listen string) error {
	if listen == "" {
		return nil
	}
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return bad("listen", listen, "must be ADDRESS:PORT")
	}
	if _, err := netip.ParseAddr(host); err != nil {
		return bad("listen", listen, "%q is no address", host)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return bad("listen", listen, "%q is no port", port)
	}
	return nil
}

// where is FILE:LINE of a key, or FILE where the key is not on a line of its own.
// The TOML library tells no positions of keys it has read.
func where(file string, text []byte, key toml.Key) string {
	table := ""
	for i, line := range strings.Split(string(text), "\n") {
		line = strings.TrimSpace(line)
		if name, ok := strings.CutPrefix(line, "["); ok {
			table, _, _ = strings.Cut(strings.Trim(name, "[ "), "]")
			table = strings.TrimSpace(table) + "."
			if strings.TrimSuffix(table, ".") == key.String() {
				return fmt.Sprintf("%s:%d", file, i+1)
			}
			continue
		}
		if name, _, ok := strings.Cut(line, "="); ok && table+strings.TrimSpace(name) == key.String() {
			return fmt.Sprintf("%s:%d", file, i+1)
		}
	}
	return file
}

// Text is the file with its remarks, as a new site gets it.
func (f SiteFile) Text() []byte {
	speed, wording, listen := strconv.Quote("auto"), f.Defaults.Wording, f.Defaults.Listen
	if f.Defaults.Speed > 0 {
		speed = strconv.Itoa(int(f.Defaults.Speed))
	}
	if wording == "" {
		wording = "auto"
	}
	if listen == "" {
		listen = "127.0.0.1:1502"
	}
	var b strings.Builder
	fmt.Fprintf(&b, `# A site: its name, where its plan is kept, and what commands do unless told.
# A key that is not known is an error, so a slip of the pen has no silent effect.

name = %q
store = %q # in this folder

[defaults]
wording = %q # how the boards speak
speed = %s # of the console, baud
listen = %q # where the stand-in controller listens

[limits] # in place of the procedure's own
`, f.Name, f.Store, wording, speed, listen)
	for _, name := range LimitNames() {
		if v, ok := f.Limits[name]; ok {
			fmt.Fprintf(&b, "%s = %s\n", name, strconv.FormatFloat(v, 'g', -1, 64))
			continue
		}
		fmt.Fprintf(&b, "# %s = %s\n", name, cmp.Or(map[string]string{"delay_pass_s": "0.5", "delay_fail_s": "1.0", "margin_mm": "2.0"}[name], "25.4"))
	}
	return []byte(b.String())
}
