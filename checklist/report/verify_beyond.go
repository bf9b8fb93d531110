package report

import (
	"bytes"
	"slices"

	"propwright/checklist"
)

// beyond cuts the records back to what was signed for, where they have grown
// because a further sitting has begun. That is so when the journal goes on, right
// after its signed part, with a process taking up the run: no other growth is any
// sitting's, and it is left for declared to find.
func (v *verifier) beyond(m Model) {
	signed, ok := fileOf(m, FileJournal)
	if !ok || !v.grown(signed) {
		return
	}
	more := v.files[FileJournal][signed.Bytes:]
	first, _, whole := bytes.Cut(more, []byte("\n"))
	entries, good, err := checklist.ReadJournal(bytes.NewReader(v.files[FileJournal]))
	// The last line may be half written: the sitting is under way, or was killed.
	if !whole || len(first) == 0 || err != nil || good <= int64(signed.Bytes) || len(entries) <= m.Entries {
		return
	}
	if run := entries[m.Entries].Run; run == nil || !run.Resumed {
		return
	}
	for _, name := range growing() {
		f, ok := fileOf(m, name)
		if !ok || !v.grown(f) {
			continue
		}
		now := v.files[name]
		v.result.Beyond = append(v.result.Beyond, Beyond{File: name, Signed: int64(f.Bytes), Unsigned: int64(len(now)) - int64(f.Bytes)})
		v.files[name] = now[:f.Bytes]
	}
}

// grown reports whether a file is longer than was signed for and begins with that.
func (v *verifier) grown(f File) bool {
	now := v.files[f.Name]
	return f.Bytes >= 0 && int64(f.Bytes) < int64(len(now)) && Digest(now[:f.Bytes]) == f.Digest
}

func fileOf(m Model, name string) (File, bool) {
	i := slices.IndexFunc(m.Files, func(f File) bool { return f.Name == name })
	if i < 0 {
		return File{}, false
	}
	return m.Files[i], true
}

// statement holds what the report says of an earlier sitting's signature against
// that sitting's own signed report.
func (v *verifier) statement(m, old Model) {
	if old.Sitting == m.Sitting {
		return // an earlier issue, which this report takes the place of
	}
	s := signatureOf(m, old.Sitting)
	if s == nil || s.Signer != old.Signer || !s.At.Equal(old.Issued) {
		v.problem(FileReport, "%s sitting: does not name who signed it, and when, as %s does", old.Sitting, earlierName(old.Sitting, FileReport))
	}
}

// signatureOf is what a report says of who signed a sitting; nil for nobody.
func signatureOf(m Model, sitting checklist.Sitting) *Signature {
	for _, s := range m.Sittings {
		if s.Sitting == sitting {
			return s.Signed
		}
	}
	return nil
}
