package diagnose_test

import (
	"testing"

	"propwright/checklist/diagnose"
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
