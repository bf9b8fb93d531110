package parsers

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// grepFiles writes a console and the wordings of all profiles as grep's patterns.
func grepFiles(t testing.TB, text []byte, profiles []*Profile) (console, patterns string) {
	t.Helper()
	var all bytes.Buffer
	for _, p := range profiles {
		for _, pat := range p.patterns {
			all.WriteString(grepPattern(pat, pat.prefixes) + "\n")
		}
	}
	console, patterns = filepath.Join(t.TempDir(), "console"), filepath.Join(t.TempDir(), "patterns")
	for name, content := range map[string][]byte{console: text, patterns: all.Bytes()} {
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return console, patterns
}

// grepCount counts the lines of a console that any pattern matches.
func grepCount(t testing.TB, console, patterns string) int {
	t.Helper()
	if _, err := exec.LookPath("grep"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("grep is missing: Debian package grep")
		}
		t.Skip("grep is missing: Debian package grep")
	}
	cmd := exec.Command("grep", "-a", "-cE", "-f", patterns, console)
	cmd.Env = []string{"LC_ALL=C", "PATH=" + os.Getenv("PATH")}
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(out)))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// grep with the same patterns counts as many lines as events are known.
func TestGrepCountsTheLinesThatAreKnown(t *testing.T) {
	profiles, err := Auto()
	if err != nil {
		t.Fatal(err)
	}
	text := night(1<<20, 3)
	console, patterns := grepFiles(t, text, profiles)
	known := 0
	NewStream(profiles...).Feed(text, time.Time{}, func(e Event) {
		if e.Kind != KindUnknown && e.Kind != KindNoise {
			known++
		}
	})
	if n := grepCount(t, console, patterns); known != n || n < 20_000 {
		t.Errorf("%d events of known lines, grep counts %d; want the same, and 20,000 at least", known, n)
	}
}
