package parsers

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"
)

// A process is a whole program that takes in a console, and what its runs cost at the
// least: others on the computer only ever make it more.
type process struct {
	name string
	args []string
	wall time.Duration
	cpu  time.Duration // user and system
}

// processes are the programs to compare on one console: grep that counts the lines that
// any wording matches, first, and the tool that writes each line's event as JSON, and
// that sums them up.
func processes(t testing.TB, text []byte) []*process {
	t.Helper()
	profiles, err := Auto()
	if err != nil {
		t.Fatal(err)
	}
	console, patterns := grepFiles(t, text, profiles)
	grepCount(t, console, patterns) // is there, and reads the patterns
	tool := filepath.Join(t.TempDir(), "propwright")
	if out, err := exec.Command("go", "build", "-o", tool, "../cmd/propwright").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return []*process{
		{name: "grep", args: []string{"grep", "-a", "-cE", "-f", patterns, console}},
		{name: "json", args: []string{tool, "events", "--json", console}},
		{name: "summary", args: []string{tool, "events", "--summary", console}},
	}
}

// run runs a program once, with what it prints going to out.
func (p *process) run(t testing.TB, out io.Writer) {
	t.Helper()
	cmd := exec.Command(p.args[0], p.args[1:]...)
	cmd.Env = append(os.Environ(), "LC_ALL=C")
	cmd.Stdout = out
	began := time.Now()
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s: %v", p.name, err)
	}
	least := func(d *time.Duration, now time.Duration) {
		if *d == 0 || now < *d {
			*d = now
		}
	}
	least(&p.wall, time.Since(began))
	least(&p.cpu, cmd.ProcessState.UserTime()+cmd.ProcessState.SystemTime())
}

// BenchmarkProcesses compares whole programs in one run, each in its turn, over and over.
// PROPWRIGHT_NIGHT_MB sets the console's size.
func BenchmarkProcesses(b *testing.B) {
	size := 64
	if text := os.Getenv("PROPWRIGHT_NIGHT_MB"); text != "" {
		if _, err := fmt.Sscan(text, &size); err != nil || size < 1 {
			b.Fatalf("PROPWRIGHT_NIGHT_MB %q: want a number of megabytes", text)
		}
	}
	text := night(size<<20, 1)
	all := processes(b, text)
	taken := float64(len(text)) / 1e6
	text = nil
	for b.Loop() {
		for _, p := range all {
			var out io.Writer // nothing, and what it writes to is the null device
			if p.name == "grep" {
				out = new(bytes.Buffer) // it stops at the first match when nobody reads
			}
			p.run(b, out)
		}
	}
	for _, p := range all {
		b.ReportMetric(taken/p.wall.Seconds(), p.name+"-MB/s")
		b.ReportMetric(p.cpu.Seconds(), p.name+"-cpu-s")
	}
}

// What the programs that are compared print of one console agrees: they take in all of
// it, and grep's count is that of the lines that are known.
func TestComparedProcessesTakeInTheSame(t *testing.T) {
	text := night(1<<20, 4)
	lines := bytes.Count(text, []byte("\n"))
	said := map[string][]byte{}
	for _, p := range processes(t, text) {
		var out bytes.Buffer
		p.run(t, &out)
		said[p.name] = out.Bytes()
		if p.wall <= 0 || p.cpu <= 0 {
			t.Errorf("%s: took %v, CPU time %v", p.name, p.wall, p.cpu)
		}
	}
	if got := bytes.Count(said["json"], []byte("\n")); got != lines {
		t.Errorf("%d events of %d lines", got, lines)
	}
	known := lines - bytes.Count(said["json"], []byte(`"kind":"unknown"`))
	if got, err := strconv.Atoi(string(bytes.TrimSpace(said["grep"]))); got != known || err != nil {
		t.Errorf("grep counts %s lines, %d are known", said["grep"], known)
	}
	if want := regexp.MustCompile(fmt.Sprintf(`(?m)^text +%d lines, %d events`, lines, lines)); !want.Match(said["summary"]) {
		t.Errorf("the summary is not of %d lines:\n%s", lines, said["summary"])
	}
}
