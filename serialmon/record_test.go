package serialmon_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
	"propwright/serialmon"
)

// noon is when the tests' recordings begin.
func noon() time.Time { return time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC) }

func readFile(t *testing.T, dir, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	must(t, err)
	return string(b)
}

// The two files are as the contract has them: the bytes alone in one; in the other
// a row a line of text and at gaps of 1 ms and more, gaps between attachments as
// remarks. What was written is there without Sync or Close.
func TestRecorderFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "bundle")
	rec, err := serialmon.OpenRecorder(dir)
	must(t, err)
	defer rec.Close()
	write := func(b string, after time.Duration, want int64) {
		t.Helper()
		offset, err := rec.Write([]byte(b), noon().Add(after))
		if err != nil || offset != want {
			t.Errorf("Write(%q) = %d, %v; want offset %d", b, offset, err, want)
		}
	}
	write("ab", 0, 0)
	write("c\r\nde", 500*time.Microsecond, 2)
	write("f\n", 5*time.Millisecond, 7)
	must(t, rec.Gap(noon().Add(time.Second), noon().Add(3*time.Second)))
	write("\x00\xffg", 4*time.Second, 9)

	if got, want := readFile(t, dir, "console.raw"), "abc\r\ndef\n\x00\xffg"; got != want {
		t.Errorf("console.raw %q, want %q", got, want)
	}
	want := `offset,time
0,2026-03-04T12:00:00.000000000Z
5,2026-03-04T12:00:00.000500000Z
7,2026-03-04T12:00:00.005000000Z
# gap 2026-03-04T12:00:01.000000000Z 2026-03-04T12:00:03.000000000Z
9,2026-03-04T12:00:04.000000000Z
`
	if diff := cmp.Diff(want, readFile(t, dir, "arrivals.csv")); diff != "" {
		t.Errorf("arrivals.csv (-want +got):\n%s", diff)
	}
}

// A run ended at any moment is resumed: whatever length the arrivals were cut to,
// the console is untouched, the files go on, and the capture reads without fault.
func TestRecorderResumesAfterAnyEnd(t *testing.T) {
	first := t.TempDir()
	rec, err := serialmon.OpenRecorder(first)
	must(t, err)
	for i, text := range []string{"one\r\n", "two\r\n", "thr"} {
		_, err := rec.Write([]byte(text), noon().Add(time.Duration(i)*time.Second))
		must(t, err)
	}
	must(t, rec.Close())
	console, arrivals := readFile(t, first, "console.raw"), readFile(t, first, "arrivals.csv")

	for cut := range len(arrivals) + 1 {
		dir := t.TempDir()
		must(t, os.WriteFile(filepath.Join(dir, "console.raw"), []byte(console), 0o600))
		must(t, os.WriteFile(filepath.Join(dir, "arrivals.csv"), []byte(arrivals[:cut]), 0o600))
		rec, err := serialmon.OpenRecorder(dir)
		if err != nil {
			t.Fatalf("arrivals cut to %d bytes: %v", cut, err)
		}
		offset, err := rec.Write([]byte("ee\r\nnew\r\n"), noon().Add(time.Hour))
		if err != nil || offset != int64(len(console)) {
			t.Errorf("cut to %d: Write = %d, %v; want offset %d", cut, offset, err, len(console))
		}
		must(t, rec.Close())
		checkCapture(t, dir, console+"ee\r\nnew\r\n")
	}
}

// Rows for bytes that never reached the disk, as after a power cut, are dropped.
func TestRecorderDropsRowsWithoutBytes(t *testing.T) {
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, "console.raw"), []byte("abc\n"), 0o600))
	must(t, os.WriteFile(filepath.Join(dir, "arrivals.csv"),
		[]byte("offset,time\n0,2026-03-04T12:00:00Z\n4,2026-03-04T12:00:01Z\n900,2026-03-04T12:00:02Z\n"), 0o600))
	rec, err := serialmon.OpenRecorder(dir)
	must(t, err)
	if got := rec.Last(); !got.Equal(noon()) {
		t.Errorf("Last() = %v, want %v", got, noon())
	}
	_, err = rec.Write([]byte("def\n"), noon().Add(time.Minute))
	must(t, err)
	must(t, rec.Close())
	checkCapture(t, dir, "abc\ndef\n")
}

// checkCapture reads a capture and wants those bytes and no complaint.
func checkCapture(t *testing.T, dir, want string) {
	t.Helper()
	var got bytes.Buffer
	rows := readFile(t, dir, "arrivals.csv")
	err := parsers.ReadCapture(strings.NewReader(readFile(t, dir, "console.raw")), strings.NewReader(rows), func(p parsers.Piece) error {
		got.Write(p.Bytes)
		return nil
	})
	if err != nil || got.String() != want {
		t.Errorf("capture holds %q, %v; want %q and no fault; arrivals:\n%s", got.String(), err, want, rows)
	}
}

// A file that is something else is not overwritten.
func TestRecorderRefusesStrangeFile(t *testing.T) {
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, "arrivals.csv"), []byte("spacing_mm,presented,read\n1,2,3\n"), 0o600))
	if _, err := serialmon.OpenRecorder(dir); err == nil || !strings.Contains(err.Error(), `"offset,time"`) {
		t.Errorf("OpenRecorder over a table of trials: %v; want an error that names the header wanted", err)
	}
	if got := readFile(t, dir, "arrivals.csv"); got != "spacing_mm,presented,read\n1,2,3\n" {
		t.Errorf("the file is now %q", got)
	}
}

func TestRecorderSaysItIsClosed(t *testing.T) {
	rec, err := serialmon.OpenRecorder(t.TempDir())
	must(t, err)
	must(t, rec.Sync())
	must(t, rec.Close())
	must(t, rec.Close())
	if _, err := rec.Write([]byte("x"), noon()); err == nil {
		t.Error("Write after Close = nil, want an error")
	}
	if err := rec.Sync(); err == nil {
		t.Error("Sync after Close = nil, want an error")
	}
	if _, err := serialmon.OpenRecorder(filepath.Join(t.TempDir(), "a\x00b")); err == nil {
		t.Error("OpenRecorder in a folder that cannot be = nil, want an error")
	}
}

// Whatever a folder holds, resuming loses no byte of the console.
func FuzzRecorderResume(f *testing.F) {
	f.Add("offset,time\n0,2026-03-04T12:00:00Z\n", "abc")
	f.Add("offset,time\n# gap 2026-03-04T12:00:00Z 2026-03-04T12:00:00Z\n9,x", "")
	f.Add("offset,ti", "abc\n")
	f.Fuzz(func(t *testing.T, arrivals, console string) {
		dir := t.TempDir()
		must(t, os.WriteFile(filepath.Join(dir, "console.raw"), []byte(console), 0o600))
		must(t, os.WriteFile(filepath.Join(dir, "arrivals.csv"), []byte(arrivals), 0o600))
		rec, err := serialmon.OpenRecorder(dir)
		if err != nil {
			if got := readFile(t, dir, "arrivals.csv"); got != arrivals {
				t.Errorf("refused with %v, but the file was changed", err)
			}
			return
		}
		_, err = rec.Write([]byte("more\n"), noon())
		must(t, err)
		must(t, rec.Close())
		if got := readFile(t, dir, "console.raw"); got != console+"more\n" {
			t.Errorf("console.raw %q, want %q", got, console+"more\n")
		}
		if got := readFile(t, dir, "arrivals.csv"); !strings.HasPrefix(got, "offset,time") {
			t.Errorf("arrivals.csv %q lacks its header", got)
		}
	})
}
