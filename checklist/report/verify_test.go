package report_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/parsers"
)

func TestVerifyAcceptsWhatWriteMade(t *testing.T) {
	dir, m := bundle(t)
	result, problems := report.Verify(dir, report.Trust{})
	if len(problems) > 0 {
		t.Fatalf("Verify of an untouched bundle: %v", problems)
	}
	if result.Report.Number != 7 || result.Trusted || result.Key != m.Signer.Key {
		t.Errorf("Verify = %+v; want report 7, known only from the bundle, key %s", result, m.Signer.Key)
	}
	if want := "known only from the bundle itself"; !strings.Contains(result.Word(), want) {
		t.Errorf("Word() = %q; want %q in it", result.Word(), want)
	}
}

func TestVerifyWithTheSitesTrust(t *testing.T) {
	dir, _ := bundle(t)
	own, foreign := newKey(t, 1, ""), newKey(t, 99, "")
	tests := map[string]struct {
		signers []byte
		trusted bool
		want    string // in one of the problems
	}{
		"own key":                {report.AllowedSigner("mole@tidewater", own.Public()), true, ""},
		"among others":           {append([]byte("# the site's\n\n"), append(report.AllowedSigner("toad@tidewater", foreign.Public()), report.AllowedSigner("mole@tidewater", own.Public())...)...), true, ""},
		"foreign key":            {report.AllowedSigner("mole@tidewater", foreign.Public()), false, "foreign key"},
		"other principal":        {report.AllowedSigner("toad@tidewater", own.Public()), false, "foreign key"},
		"trusts nobody":          {[]byte{}, false, "foreign key"},
		"other namespace":        {[]byte(strings.Replace(string(report.AllowedSigner("mole@tidewater", own.Public())), report.Namespace, "git", 1)), false, "foreign key"},
		"restriction not known":  {[]byte(strings.Replace(string(report.AllowedSigner("mole@tidewater", own.Public())), "namespaces=", `valid-before="20200101",namespaces=`, 1)), false, "not supported"},
		"pattern for principals": {[]byte(strings.Replace(string(report.AllowedSigner("mole@tidewater", own.Public())), "mole@", "*@", 1)), false, "plain names"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			result, problems := report.Verify(dir, report.Trust{Signers: tt.signers})
			if result.Trusted != tt.trusted {
				t.Errorf("Trusted = %t, want %t", result.Trusted, tt.trusted)
			}
			if (tt.want == "") != (len(problems) == 0) || !mentions(problems, tt.want) {
				t.Errorf("problems = %v; want one with %q", problems, tt.want)
			}
		})
	}
}

func mentions(problems []report.Problem, want string) bool {
	for _, p := range problems {
		if strings.Contains(p.String(), want) {
			return true
		}
	}
	return want == ""
}

// A signature by a key that is not in the bundle is what an attacker without the
// signer's key can make.
func TestVerifyRefusesAReportSignedAgainWithAForeignKey(t *testing.T) {
	dir, m := bundle(t)
	foreign := newKey(t, 99, "")
	sig, err := report.Sign(foreign, read(t, dir, report.FileReport))
	if err != nil {
		t.Fatal(err)
	}
	put(t, dir, report.FileSignature, sig)
	_, problems := report.Verify(dir, report.Trust{})
	if !mentions(problems, "signed with key "+foreign.ID()) || !mentions(problems, "allowed_signers: does not let key") {
		t.Errorf("signed again by %s, named is %s: problems = %v", foreign.ID(), m.Signer.Key, problems)
	}
}

func put(t *testing.T, dir, name string, content []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
		t.Fatal(err)
	}
}

// smallBundle is a bundle of one step, so that thousands of verifications are
// quick.
func smallBundle(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	r := newRun(t)
	r.entries[0].Run.Item.Tags, r.entries[0].Run.Item.Taken = nil, nil
	r.begin(checklist.Site, "link")
	written := r.line(parsers.KindCoilWritten, "coil 117 written on", "", map[string]string{"coil": "117", "value": "on"})
	r.add(checklist.Entry{Type: checklist.EntryFrame, Frame: &checklist.Frame{At: r.at, Kind: checklist.FrameConnected, Conn: 1, Peer: "10.77.0.57:49152", Coil: -1}})
	r.decide(checklist.Passed, checklist.Finding{What: "right coil on", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Text("coil 117"), Rests: checklist.RefsOf(written)})
	r.lay(dir)
	if _, err := report.Write(dir, r.entries, planned()[6:7], inputs(checklist.Site), newKey(t, 1, "")); err != nil {
		t.Fatal(err)
	}
	return dir
}

// Bytes of every file, all of them where the file is small, are changed; each
// change must be found, and the problem must name the file. Every bit of a
// signature has a test of its own beside checkSignature.
func TestVerifyFindsEveryChangedByte(t *testing.T) {
	dir := smallBundle(t)
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	found := func(name, what string) {
		t.Helper()
		if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, name) || len(problems) == 0 {
			t.Errorf("%s: %s: problems = %v", name, what, problems)
		}
	}
	for _, e := range list {
		content := read(t, dir, e.Name())
		if len(content) == 0 {
			t.Errorf("%s: empty, so nothing is tested", e.Name())
		}
		step := 1
		if len(content) > 100 {
			step = len(content)/30 + 1
		}
		for i := 0; i < len(content); i += step {
			changed := append([]byte{}, content...)
			changed[i] ^= []byte{1, 0x20, 0x80, 0x0a}[i%4]
			put(t, dir, e.Name(), changed)
			found(e.Name(), fmt.Sprintf("byte %d from %q to %q", i, content[i], changed[i]))
		}
		put(t, dir, e.Name(), content[:len(content)-1])
		found(e.Name(), "last byte cut off")
		put(t, dir, e.Name(), append(append([]byte{}, content...), '\n'))
		found(e.Name(), "a line end too many")
		put(t, dir, e.Name(), content)
	}
	if _, problems := report.Verify(dir, report.Trust{}); len(problems) > 0 {
		t.Fatalf("the bundle was not put back: %v", problems)
	}
}

func TestVerifyFindsFilesMissingAndUndeclared(t *testing.T) {
	dir, _ := bundle(t)
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		content := read(t, dir, e.Name())
		if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
			t.Fatal(err)
		}
		if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, e.Name()+": missing") {
			t.Errorf("%s taken away: problems = %v", e.Name(), problems)
		}
		put(t, dir, e.Name(), content)
	}
	put(t, dir, "extra\x1b.txt", nil)
	if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, `extra\x1b.txt: not declared`) || len(problems) != 1 {
		t.Errorf("a file too many: problems = %v", problems)
	}
	if err := os.Remove(filepath.Join(dir, "extra\x1b.txt")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "sub"), 0o700); err != nil {
		t.Fatal(err)
	}
	if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, `"sub": not a plain file`) {
		t.Errorf("a folder in the bundle: problems = %v", problems)
	}
}

// Someone who has the key can sign anything; what does not agree with the
// records is found all the same.
func TestVerifyHoldsTheReportAgainstTheRecords(t *testing.T) {
	tests := map[string]struct {
		change func(*report.Model)
		want   string
	}{
		"verdict of a step": {func(m *report.Model) { m.Steps[2].Verdict = checklist.Passed }, "steps: not what journal.jsonl holds"},
		"overall verdict":   {func(m *report.Model) { m.Verdict = checklist.Passed }, "verdict: not what"},
		"nothing open":      {func(m *report.Model) { m.Open, m.Complete = []report.Open{}, true }, "sittings: not what"},
		"note dropped":      {func(m *report.Model) { m.Notes = m.Notes[:1] }, "notes: not what"},
		"gap dropped":       {func(m *report.Model) { m.Gaps = []report.Gap{} }, "gaps: not what"},
		"evidence beyond the console": {func(m *report.Model) {
			m.Steps[1].Findings[0].Evidence[0].To = 1 << 40
		}, "is not there"},
		"evidence of the wrong sort": {func(m *report.Model) {
			m.Steps[0].Findings[0].Evidence[0].Type = checklist.RefFrame
		}, "is not there"},
		"passed without evidence": {func(m *report.Model) {
			m.Steps[0].Findings[0].Evidence = []report.Ref{}
		}, "passed without evidence"},
		"file not declared":      {func(m *report.Model) { m.Files = m.Files[1:] }, "not declared"},
		"entries":                {func(m *report.Model) { m.Entries++ }, "entries, the report says"},
		"console bytes":          {func(m *report.Model) { m.Console.Bytes++ }, "bytes, the report says"},
		"console read":           {func(m *report.Model) { m.Console.Read-- }, "the events cover"},
		"path out of the folder": {func(m *report.Model) { m.Files[0].Name = "../journal.jsonl" }, `declares file "../journal.jsonl"`},
	}
	original, _ := bundle(t)
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.CopyFS(dir, os.DirFS(original)); err != nil {
				t.Fatal(err)
			}
			m, err := report.Parse(read(t, dir, report.FileReport))
			if err != nil {
				t.Fatal(err)
			}
			tt.change(&m)
			signed, err := report.Canonical(m)
			if err != nil {
				t.Fatal(err)
			}
			sig, err := report.Sign(newKey(t, 1, ""), signed)
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
			if _, problems := report.Verify(dir, report.Trust{}); !mentions(problems, tt.want) || len(problems) == 0 {
				t.Errorf("problems = %v; want one with %q", problems, tt.want)
			}
		})
	}
}
