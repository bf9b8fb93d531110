package diagnose_test

import (
	"testing"
	"time"

	"propwright/checklist/diagnose"
	"propwright/parsers"
)

// An answer in the words in which the answers are listed is that answer, also where a
// shorter one is contained in it, and the question may be the words of the reading back.
func TestAnAnswerInTheListedWordsIsThatOne(t *testing.T) {
	k, err := diagnose.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range k.Findings {
		for v, value := range f.Values {
			for _, question := range []string{f.ID, f.About} {
				a, err := k.Answer(question + "=" + value.Tell)
				if err != nil {
					t.Fatal(err)
				}
				if len(a.Evidence) == 0 || k.Findings[a.Evidence[0].Finding].ID != f.ID || a.Evidence[0].Value != v {
					t.Errorf("%s=%s is taken as %+v, want %s=%s", question, value.Tell, a.Evidence, f.ID, value.ID)
				}
			}
		}
	}
	a, err := k.Answer("power cycle=it comes up without network")
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Evidence) == 0 || k.Words(a.Evidence[0].Observation) != "a power cycle with USB unplugged: it comes up without network" {
		t.Errorf("taken as %+v", a.Evidence)
	}
}

// What an answer is set against is not the answer.
func TestAnAnswerIsItsMainClause(t *testing.T) {
	k, err := diagnose.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"ping=answers while the text says no cable":            "ping of the board: it answers",
		"ping=no answer, although the link lamp shows that up": "ping of the board: none answers",
	} {
		a, err := k.Answer(text)
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, e := range a.Evidence {
			found = found || k.Words(e.Observation) == want
		}
		if !found {
			t.Errorf("%q is taken as %+v, want %q among it", text, a.Evidence, want)
		}
	}
}

// That a flashing tool gets no reply says nothing of the reader chip.
func TestNoReplyOfSomethingElseIsNoReaderChip(t *testing.T) {
	k, err := diagnose.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	profiles, err := parsers.Auto()
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]bool{"sync: no reply, attempt 1\n": false, "reader chip: no reply\n": true} {
		r, s := k.NewReading(), parsers.NewStream(profiles...)
		s.Feed([]byte(text), time.Time{}, r.Take)
		s.Flush(r.Take)
		got := false
		for _, e := range r.Evidence() {
			got = got || k.Findings[e.Finding].ID == "version"
		}
		if got != want {
			t.Errorf("%q speaks of the version register: %t, want %t", text, got, want)
		}
	}
}
