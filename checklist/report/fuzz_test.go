package report_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"propwright/checklist"
	"propwright/checklist/report"
)

// seeds are a whole report and a few that are none.
func seeds(f *testing.F) []byte {
	f.Helper()
	r := newRun(&testing.T{})
	r.bench()
	m, err := report.Build(r.entries, planned(), inputs(checklist.Bench))
	if err != nil {
		f.Fatal(err)
	}
	b, err := report.Canonical(m)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	for _, s := range []string{"", "{}", "null", `{"format":"propwright-report-1"}`, `{"format":"propwright-report-1","steps":[{"sitting":"bench","findings":[{"evidence":[{"type":"frame","from":-1}]}]}]}`} {
		f.Add([]byte(s))
	}
	return b
}

// What Parse takes can be shown, and its canonical form is read as the same.
func FuzzParse(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := report.Parse(b)
		if err != nil {
			return
		}
		if _, err := report.Show(m); err != nil {
			t.Errorf("Show: %v", err)
		}
		if _, err := report.RenderHTML(b); err != nil {
			t.Errorf("RenderHTML: %v", err)
		}
		first, err := report.Canonical(m)
		if err != nil {
			return // a figure that canonical JSON cannot hold
		}
		again, err := report.Parse(first)
		if err != nil {
			t.Fatalf("Parse of %s: %v", first, err)
		}
		if second, err := report.Canonical(again); err != nil || !bytes.Equal(first, second) {
			t.Errorf("canonical %s, then %s (%v)", first, second, err)
		}
		_ = report.Validate(b)
	})
}

// Nothing in a bundle makes Verify fall over, and only the untouched one passes.
func FuzzVerify(f *testing.F) {
	b := seeds(f)
	f.Add([]byte("{\"n\":1}\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		dir := t.TempDir()
		for _, name := range []string{report.FileReport, report.FileJournal, report.FileSigners, report.FileSignature, report.FileConsole} {
			if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
				t.Fatal(err)
			}
			if _, problems := report.Verify(dir, report.Trust{Signers: content}); len(problems) == 0 {
				t.Errorf("no problem with %q as %s", content, name)
			}
			if err := os.WriteFile(filepath.Join(dir, report.FileReport), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	})
}
