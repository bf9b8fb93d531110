package report

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"github.com/gowebpki/jcs"
	"golang.org/x/crypto/ssh"

	"propwright/checklist"
)

// A Trust is whose signatures the reader of a bundle believes. The zero value
// has no such opinion: then the bundle can only be checked against itself.
type Trust struct {
	// Signers is an allowed_signers file from outside the bundle, such as the
	// site's. Empty and not nil trusts nobody.
	Signers []byte
}

// A Result is what a bundle turned out to be. Its fields are filled in as far as
// the bundle could be read.
type Result struct {
	Report  Model
	Key     string // fingerprint of the key that signed, "" when the signature is not valid
	Trusted bool   // the key is one that the Trust allows for the principal
	Files   int    // that were compared with their digest
	// Beyond are the records that have grown since they were signed, because a
	// further sitting has begun and is not signed yet.
	Beyond []Beyond
}

// A Beyond is a record that was signed for up to a length and has grown since.
type Beyond struct {
	File     string
	Signed   int64 // bytes that the signature covers, and that were checked
	Unsigned int64 // bytes after them, which nobody has signed for
}

// String says it in one line.
func (b Beyond) String() string {
	return fmt.Sprintf("%s: signed up to %d bytes; %d further bytes unsigned: sitting open", b.File, b.Signed, b.Unsigned)
}

// Word says in one sentence how far the signature can be believed.
func (r Result) Word() string {
	switch {
	case r.Key == "":
		return "no valid signature"
	case r.Trusted:
		return fmt.Sprintf("signed by %s with key %s, which the site trusts", r.Report.Signer.Principal, r.Key)
	default:
		return fmt.Sprintf("signed by %s with key %s, known only from the bundle itself", r.Report.Signer.Principal, r.Key)
	}
}

// A Problem is something in a bundle that does not hold.
type Problem struct {
	File string // of the bundle; "" for the folder
	What string
}

// String is the problem in one line that is safe to print.
func (p Problem) String() string {
	if p.File == "" {
		return harmless(p.What)
	}
	return harmless(p.File + ": " + p.What)
}

// A verifier collects problems as it goes through a bundle.
type verifier struct {
	dir      string
	files    map[string][]byte
	result   Result
	problems []Problem
}

func (v *verifier) problem(file, format string, args ...any) {
	v.problems = append(v.problems, Problem{file, fmt.Sprintf(format, args...)})
}

// Verify goes through the bundle in dir: that the signature is valid and by a
// key that the bundle names and, where trust is given, the trust too; that
// report.json is canonical and keeps to its schema; that each file is the one
// that was signed for, none missing and none undeclared; that the HTML is what
// report.json makes; that the records agree with each other and the report with
// them. Where a further sitting has begun, the records are checked as far as they
// were signed, and Result.Beyond says what has come after that. No problem means
// that everything held.
func Verify(dir string, trust Trust) (Result, []Problem) {
	v := &verifier{dir: dir, files: map[string][]byte{}}
	names, err := listFiles(dir)
	if err != nil {
		v.problem("", "%v", err)
	}
	for _, name := range names {
		content, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			v.problem(name, "cannot be read: %v", err)
			continue
		}
		v.files[name] = content
	}
	signed, ok := v.files[FileReport]
	if !ok {
		v.problem(FileReport, "missing")
		return v.result, v.problems
	}
	key := v.signature(FileSignature, signed)
	m, ok := v.parse(FileReport, signed)
	if !ok {
		return v.result, v.problems
	}
	v.page(m, signed)
	v.result.Report = m
	v.signer(FileSignature, m, key, trust)
	if key != nil {
		v.result.Key = ssh.FingerprintSHA256(key)
	}
	v.beyond(m)
	v.declared(m)
	v.records(m)
	v.earlier(m, trust)
	return v.result, v.problems
}

// signature checks a signature; nil when it does not hold.
func (v *verifier) signature(name string, signed []byte) ssh.PublicKey {
	sig, ok := v.files[name]
	if !ok {
		v.problem(name, "missing")
		return nil
	}
	key, err := checkSignature(sig, signed, Namespace)
	if err != nil {
		v.problem(name, "%v", err)
		return nil
	}
	return key
}

// parse reads a report and checks its form.
func (v *verifier) parse(name string, signed []byte) (Model, bool) {
	if again, err := jcs.Transform(signed); err != nil {
		v.problem(name, "canonical form: %v", err)
	} else if !bytes.Equal(again, signed) {
		v.problem(name, "not in canonical form (RFC 8785)")
	}
	if err := Validate(signed); err != nil {
		v.problem(name, "%v", err)
	}
	m, err := Parse(signed)
	if err != nil {
		v.problem(name, "%v", err)
		return Model{}, false
	}
	return m, true
}

// signer checks whose signature it is. A nil key has been reported already.
func (v *verifier) signer(name string, m Model, key ssh.PublicKey, trust Trust) {
	if key == nil {
		return
	}
	id := ssh.FingerprintSHA256(key)
	if id != m.Signer.Key {
		v.problem(name, "signed with key %s, the report names %q", id, m.Signer.Key)
	}
	own, err := parseSigners(v.files[FileSigners])
	switch {
	case err != nil:
		v.problem(FileSigners, "%v", err)
	case !allowed(own, m.Signer.Principal, key):
		v.problem(FileSigners, "does not let key %s sign as %q", id, m.Signer.Principal)
	}
	if trust.Signers == nil {
		return
	}
	site, err := parseSigners(trust.Signers)
	switch {
	case err != nil:
		v.problem(name, "the site's signers: %v", err)
	case !allowed(site, m.Signer.Principal, key):
		v.problem(name, "foreign key: the site does not trust key %s to sign as %q", id, m.Signer.Principal)
	case name == FileSignature:
		v.result.Trusted = true
	}
}

// page makes the HTML again and compares.
func (v *verifier) page(m Model, signed []byte) {
	have, ok := v.files[FileHTML]
	if !ok {
		v.problem(FileHTML, "missing")
		return
	}
	want, err := render(m, Digest(signed))
	if err != nil {
		v.problem(FileHTML, "cannot be made again from %s: %v", FileReport, err)
		return
	}
	if !bytes.Equal(have, want) {
		v.problem(FileHTML, "differs from what %s makes", FileReport)
	}
}

// declared compares the files with their digests.
func (v *verifier) declared(m Model) {
	known := map[string]bool{}
	for _, f := range m.Files {
		if known[f.Name] || !fileName(f.Name) || slices.Contains(undigested(), f.Name) {
			v.problem(FileReport, "declares file %q, which it may not, or not twice", f.Name)
			continue
		}
		known[f.Name] = true
		content, ok := v.files[f.Name]
		switch {
		case !ok:
			v.problem(f.Name, "missing")
			continue
		case int64(len(content)) != int64(f.Bytes):
			v.problem(f.Name, "has %d bytes, %d were signed for", len(content), f.Bytes)
		case Digest(content) != f.Digest:
			v.problem(f.Name, "changed: its digest is not the one signed for")
		}
		v.result.Files++
	}
	for _, name := range required() {
		if !known[name] {
			v.problem(name, "not declared by %s", FileReport)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(v.files)) {
		if !known[name] && !slices.Contains(undigested(), name) {
			v.problem(name, "not declared by %s", FileReport)
		}
	}
}

// earlier checks the reports of other sittings that the bundle keeps: their own
// signatures, and that what they signed for is still there.
func (v *verifier) earlier(m Model, trust Trust) {
	for _, s := range []checklist.Sitting{checklist.Bench, checklist.Site} {
		name := earlierName(s, FileReport)
		signed, ok := v.files[name]
		if !ok {
			if s != m.Sitting && signatureOf(m, s) != nil {
				v.problem(name, "missing, though %s says that the sitting is signed", FileReport)
			}
			continue
		}
		key := v.signature(earlierName(s, FileSignature), signed)
		old, ok := v.parse(name, signed)
		if !ok {
			continue
		}
		if old.Number != m.Number || old.Sitting != s {
			v.problem(name, "is report %d of sitting %q", old.Number, old.Sitting)
		}
		v.signer(earlierName(s, FileSignature), old, key, trust)
		v.statement(m, old)
		for _, f := range old.Files {
			now := v.files[f.Name]
			if !slices.Contains(growing(), f.Name) {
				continue
			}
			if f.Bytes < 0 || int64(f.Bytes) > int64(len(now)) || Digest(now[:f.Bytes]) != f.Digest {
				v.problem(f.Name, "does not begin with what %s signed for", name)
			}
		}
	}
}
