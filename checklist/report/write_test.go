package report_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/parsers"
)

func TestWriteOfARunWithoutAPort(t *testing.T) {
	dir := t.TempDir()
	r := newRun(t)
	r.begin(checklist.Bench, "wiring")
	yes := r.answer("header", "yes", nil, "")
	r.decide(checklist.Passed, checklist.Finding{What: "header", Verdict: checklist.Passed, How: checklist.Stated, Value: checklist.Text("yes"), Rests: checklist.RefsOf(yes)})
	r.lay(dir)
	for _, name := range []string{report.FileConsole, report.FileArrivals} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), newKey(t, 1, "")); err != nil {
		t.Fatal(err)
	}
	if b := read(t, dir, report.FileConsole); len(b) != 0 {
		t.Errorf("console.raw: %q, want nothing", b)
	}
	if _, problems := report.Verify(dir, report.Trust{}); len(problems) > 0 {
		t.Errorf("problems = %v", problems)
	}
}

// A second report of the same sitting takes the place of the first and says so.
func TestWriteAgain(t *testing.T) {
	dir := t.TempDir()
	r := newRun(t)
	r.bench()
	r.lay(dir)
	key := newKey(t, 1, "")
	if _, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), key); err != nil {
		t.Fatal(err)
	}
	first := report.Digest(read(t, dir, report.FileReport))
	r.failRange()
	r.lay(dir)
	put(t, dir, ".report.json.123", []byte("what a crash left"))
	m, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), key)
	if err != nil {
		t.Fatal(err)
	}
	if m.Issue != 2 || m.Replaces != first || m.Verdict != checklist.Failed {
		t.Errorf("issue %d in place of %s, %s; want 2 in place of %s, failed", m.Issue, m.Replaces, m.Verdict, first)
	}
	if _, problems := report.Verify(dir, report.Trust{}); len(problems) > 0 {
		t.Errorf("problems = %v", problems)
	}
}

// Two people sign, one for each sitting: the bundle knows both keys.
func TestWriteKeepsTheEarlierSittingsReport(t *testing.T) {
	dir := t.TempDir()
	mole, toad := newKey(t, 1, ""), newKey(t, 50, "")
	r := newRun(t)
	r.bench()
	r.lay(dir)
	if _, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), mole); err != nil {
		t.Fatal(err)
	}
	bench := read(t, dir, report.FileReport)
	r.site()
	r.lay(dir)
	in := inputs(checklist.Site)
	in.Signer = report.Signer{Name: "T. Toad", Role: "stage manager", Principal: "toad@tidewater"}
	m, err := report.Write(dir, r.entries, planned(), in, toad)
	if err != nil {
		t.Fatal(err)
	}
	if string(read(t, dir, "bench.report.json")) != string(bench) {
		t.Error("bench.report.json is not the bench sitting's report")
	}
	if m.Sittings[0].Signed.Key != mole.ID() || m.Sittings[1].Signed.Key != toad.ID() {
		t.Errorf("signed by %s and %s; want %s and %s", m.Sittings[0].Signed.Key, m.Sittings[1].Signed.Key, mole.ID(), toad.ID())
	}
	both := append(report.AllowedSigner("mole@tidewater", mole.Public()), report.AllowedSigner("toad@tidewater", toad.Public())...)
	if result, problems := report.Verify(dir, report.Trust{Signers: both}); len(problems) > 0 || !result.Trusted {
		t.Errorf("trusted %t, problems = %v", result.Trusted, problems)
	}
	one := report.AllowedSigner("toad@tidewater", toad.Public())
	if _, problems := report.Verify(dir, report.Trust{Signers: one}); !mentions(problems, "bench.report.json.sig: foreign key") {
		t.Errorf("the bench's signer is not trusted, but problems = %v", problems)
	}
}

func TestVerifyFindsThatAnEarlierSittingsRecordsWereChanged(t *testing.T) {
	dir := t.TempDir()
	key := newKey(t, 1, "")
	r := newRun(t)
	r.bench()
	r.lay(dir)
	if _, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), key); err != nil {
		t.Fatal(err)
	}
	r.entries[2].Answer.Value = ptr(4.1) // the volts of the wiring step
	r.site()
	r.lay(dir)
	if _, err := report.Write(dir, r.entries, planned(), inputs(checklist.Site), key); err != nil {
		t.Fatal(err)
	}
	if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, "journal.jsonl: does not begin with what bench.report.json signed for") {
		t.Errorf("problems = %v", problems)
	}
}

func TestWriteRefuses(t *testing.T) {
	tests := map[string]struct {
		change func(t *testing.T, dir string, r *run)
		want   string
	}{
		"no journal":             {func(t *testing.T, dir string, _ *run) { remove(t, dir, report.FileJournal) }, "journal.jsonl"},
		"journal of another run": {func(t *testing.T, dir string, _ *run) { put(t, dir, report.FileJournal, []byte("{}\n")) }, "1 entries, the run has"},
		"console of another run": {func(t *testing.T, dir string, _ *run) { put(t, dir, report.FileConsole, []byte("hello")) }, "console.raw: not what"},
		"another report there":   {func(t *testing.T, dir string, _ *run) { put(t, dir, report.FileReport, []byte("hello")) }, "report.json: in the way"},
		"hidden file there":      {func(t *testing.T, dir string, _ *run) { put(t, dir, ".hidden", nil) }, `".hidden": no name`},
		"folder there":           {func(t *testing.T, dir string, _ *run) { mkdir(t, dir, "sub") }, `"sub": not a plain file`},
		"events apart":           {func(_ *testing.T, _ string, r *run) { r.last().Offset = 5 }, "event at byte 5"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			r := newRun(t)
			r.bench()
			r.lay(dir)
			tt.change(t, dir, r)
			_, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), newKey(t, 1, ""))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("Write = %v; want an error with %q", err, tt.want)
			}
		})
	}
}

// last is the last event of the console.
func (r *run) last() *parsers.Event {
	var last *parsers.Event
	for _, e := range r.entries {
		if e.Event != nil && e.Event.Size() > 0 {
			last = e.Event
		}
	}
	return last
}

func remove(t *testing.T, dir, name string) {
	t.Helper()
	if err := os.Remove(filepath.Join(dir, name)); err != nil {
		t.Fatal(err)
	}
}

func mkdir(t *testing.T, dir, name string) {
	t.Helper()
	if err := os.Mkdir(filepath.Join(dir, name), 0o700); err != nil {
		t.Fatal(err)
	}
}

// Bytes that came in after the last event are part of the record, and said to be
// unread.
func TestWriteWithAnUnreadTail(t *testing.T) {
	dir := t.TempDir()
	r := newRun(t)
	r.bench()
	r.lay(dir)
	put(t, dir, report.FileConsole, append(r.console.Bytes(), "netw"...))
	m, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), newKey(t, 1, ""))
	if err != nil {
		t.Fatal(err)
	}
	if m.Console.Bytes-m.Console.Read != 4 || !strings.Contains(strings.Join(m.Limitations, "\n"), "last 4 bytes") {
		t.Errorf("console %+v, limitations %q; want 4 bytes unread", m.Console, m.Limitations)
	}
	if _, problems := report.Verify(dir, report.Trust{}); len(problems) > 0 {
		t.Errorf("problems = %v", problems)
	}
}
