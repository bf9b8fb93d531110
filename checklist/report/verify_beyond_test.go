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

// benchThenMore is a bundle signed at the bench, to whose records a further part
// has been added.
func benchThenMore(t *testing.T, more func(*run)) (dir string, signed report.Model) {
	t.Helper()
	dir = t.TempDir()
	r := newRun(t)
	r.bench()
	r.lay(dir)
	signed, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), newKey(t, 1, ""))
	if err != nil {
		t.Fatal(err)
	}
	more(r)
	r.lay(dir)
	return dir, signed
}

// Contract: a bench-signed bundle holds while the site sitting is under way, and
// says how much of it is signed.
func TestVerifyWhileAFurtherSittingIsOpen(t *testing.T) {
	dir, signed := benchThenMore(t, (*run).site)
	result, problems := report.Verify(dir, report.Trust{})
	if len(problems) > 0 {
		t.Fatalf("bench signed, site open: problems = %v", problems)
	}
	if len(result.Beyond) != 3 {
		t.Fatalf("Beyond = %v; want console, arrivals and journal", result.Beyond)
	}
	for _, b := range result.Beyond {
		info, err := os.Stat(filepath.Join(dir, b.File))
		if err != nil {
			t.Fatal(err)
		}
		if b.Signed+b.Unsigned != info.Size() || b.Unsigned <= 0 {
			t.Errorf("%v: the file has %d bytes", b, info.Size())
		}
		for _, f := range signed.Files {
			if f.Name == b.File && int64(f.Bytes) != b.Signed {
				t.Errorf("%v: signed for were %d bytes", b, f.Bytes)
			}
		}
		if !strings.Contains(b.String(), "further bytes unsigned: sitting open") {
			t.Errorf("String() = %q", b)
		}
	}
	// A kill in the middle of a line changes nothing about what was signed.
	journal := read(t, dir, report.FileJournal)
	put(t, dir, report.FileJournal, journal[:len(journal)-5])
	if result, problems := report.Verify(dir, report.Trust{}); len(problems) > 0 || len(result.Beyond) != 3 {
		t.Errorf("last line half written: %v, problems = %v", result.Beyond, problems)
	}
	// What was signed may not change, open sitting or not.
	for _, name := range []string{report.FileJournal, report.FileConsole, report.FileArrivals} {
		content := read(t, dir, name)
		changed := append([]byte{}, content...)
		changed[len(changed)/4] ^= 1
		put(t, dir, name, changed)
		if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, name) || len(problems) == 0 {
			t.Errorf("%s changed in its signed part: problems = %v", name, problems)
		}
		put(t, dir, name, content)
	}
}

func TestVerifyRefusesGrowthThatIsNoSittings(t *testing.T) {
	for name, more := range map[string]func(*run){
		"an answer with no process to take it":   func(r *run) { r.begin(checklist.Bench, "wiring"); r.answer("volts", "", ptr(5.0), "V") },
		"console with nothing in the journal":    func(r *run) { r.console.WriteString("coil 117 written on\r\n") },
		"a run that begins and takes up nothing": func(r *run) { r.add(checklist.Entry{Type: checklist.EntryRun, Run: &checklist.RunHeader{Number: 8}}) },
	} {
		t.Run(name, func(t *testing.T) {
			dir, _ := benchThenMore(t, more)
			if result, problems := report.Verify(dir, report.Trust{}); len(problems) == 0 || len(result.Beyond) > 0 {
				t.Errorf("Beyond = %v, problems = %v; want problems and nothing taken for a sitting", result.Beyond, problems)
			}
		})
	}
}

// Two people with two keys, days apart: the last report names both, and each
// signature is held against its own signed report.
func TestVerifyTwoSittingsByTwoPeople(t *testing.T) {
	dir := t.TempDir()
	benchKey, siteKey := newKey(t, 1, ""), newKey(t, 50, "")
	r := newRun(t)
	r.bench()
	r.lay(dir)
	if _, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), benchKey); err != nil {
		t.Fatal(err)
	}
	r.at = r.at.AddDate(0, 0, 3)
	r.site()
	r.line(parsers.KindUnknown, "good night", "", nil)
	r.lay(dir)
	in := inputs(checklist.Site)
	in.Signer = report.Signer{Name: "S. Toad", Role: "fitter", Principal: "toad@tidewater"}
	in.Issued = in.Issued.AddDate(0, 0, 3)
	m, err := report.Write(dir, r.entries, planned(), in, siteKey)
	if err != nil {
		t.Fatal(err)
	}
	both := append(report.AllowedSigner("mole@tidewater", benchKey.Public()), report.AllowedSigner("toad@tidewater", siteKey.Public())...)
	result, problems := report.Verify(dir, report.Trust{Signers: both})
	if len(problems) > 0 || !result.Trusted || len(result.Beyond) > 0 {
		t.Fatalf("Verify = trusted %t, beyond %v, problems %v", result.Trusted, result.Beyond, problems)
	}
	if len(m.Sittings) != 2 || m.Sittings[0].Signed.Name != "R. Mole" || m.Sittings[1].Signed.Name != "S. Toad" {
		t.Errorf("sittings = %+v; want one signed by R. Mole, one by S. Toad", m.Sittings)
	}
	// The site trusts only the second of them.
	if _, problems := report.Verify(dir, report.Trust{Signers: report.AllowedSigner("toad@tidewater", siteKey.Public())}); !mentions(problems, "bench.report.json.sig: foreign key") || len(problems) == 0 {
		t.Errorf("the bench's key not trusted: problems = %v", problems)
	}
	// The second signer can sign anything, but not that another signed.
	m.Sittings[0].Signed.Role = "inspector"
	signed, err := report.Canonical(m)
	if err != nil {
		t.Fatal(err)
	}
	sig, err := report.Sign(siteKey, signed)
	if err != nil {
		t.Fatal(err)
	}
	page, err := report.RenderHTML(signed)
	if err != nil {
		t.Fatal(err)
	}
	put(t, dir, report.FileReport, signed)
	put(t, dir, report.FileSignature, sig)
	put(t, dir, report.FileHTML, page)
	if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, "bench sitting: does not name who signed it") || len(problems) == 0 {
		t.Errorf("another role put to the bench's signature: problems = %v", problems)
	}
}
