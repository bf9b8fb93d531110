package report_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/report"
)

// diagnosed is a search for the cause of the range's failure: one repair that did not
// cure and one that did, with a tag's identity in an answer.
func diagnosed() *checklist.Diagnosis {
	cover := checklist.DiagnosisCause{ID: "cover-too-thick", Title: "Cover too thick", Probability: 0.41}
	metal := checklist.DiagnosisCause{ID: "metal-behind", Title: "Metal behind the reader", Probability: 0.874}
	return &checklist.Diagnosis{
		Symptom: []string{"reads at the cover: 3 of 20, against 0.80 or more"},
		Tests:   []checklist.DiagnosisTest{{Ask: "Take the cover off. Is it read?", Answer: "no, nor " + showUID}, {Ask: "What lies behind?", Answer: "sheet of <steel>"}},
		Cause:   &metal, Repairs: []checklist.DiagnosisRepair{{Cause: cover}, {Cause: metal, Cured: true}}, Cured: true,
	}
}

// diagnose puts a search for the cause of the range's failure on record.
func (r *run) diagnose(d *checklist.Diagnosis) {
	r.sitting, r.step = checklist.Bench, "range"
	r.add(checklist.Entry{Type: checklist.EntryDiagnosis, Diagnosis: d})
	r.sitting, r.step = "", ""
}

// tellStory fails the range, finds the cause, and passes it again.
func (r *run) tellStory() {
	r.failRange()
	r.diagnose(diagnosed())
	r.begin(checklist.Bench, "range")
	m := r.add(checklist.Entry{Type: checklist.EntryMeasure, Measure: &checklist.Measure{Name: "trials", Value: 20, Unit: "1", Params: map[string]string{"spacing_mm": "6", "read": "20"}}})
	r.decide(checklist.Passed, checklist.Finding{What: "reads at the cover", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Text("20 of 20"), Rests: checklist.RefsOf(m)})
}

// storyBundle is a bundle of a bench whose range failed and was repaired.
func storyBundle(t *testing.T) (dir string, m report.Model) {
	t.Helper()
	dir = t.TempDir()
	r := newRun(t)
	r.bench()
	r.tellStory()
	r.lay(dir)
	m, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), newKey(t, 1, "bench key"))
	if err != nil {
		t.Fatal(err)
	}
	return dir, m
}

// Symptom, tests, cause, repairs and proof, in the signed report, its page and for a
// terminal; the failed verdict stays on record beside the one that proves the repair.
func TestTheReportTellsTheStory(t *testing.T) {
	dir, m := storyBundle(t)
	if _, problems := report.Verify(dir, report.Trust{}); len(problems) > 0 {
		t.Errorf("Verify: %v", problems)
	}
	signed := read(t, dir, report.FileReport)
	if err := report.Validate(signed); err != nil {
		t.Error(err)
	}
	if len(m.Stories) != 1 {
		t.Fatalf("%d stories, want one", len(m.Stories))
	}
	s, want := m.Stories[0], diagnosed()
	if s.Step != "range" || s.Sitting != checklist.Bench || s.Title == "" || s.Proof == nil || s.Proof.Verdict != checklist.Passed || !s.Proof.At.After(s.At) {
		t.Errorf("story %+v; want the bench's range, proved by the pass after it", s)
	}
	if diff := cmp.Diff([]any{want.Symptom, want.Tests, want.Cause, want.Repairs, true}, []any{s.Symptom, s.Tests, s.Cause, s.Repairs, s.Cured}); diff != "" {
		t.Errorf("story (-want +got):\n%s", diff)
	}
	for _, step := range m.Steps {
		if step.ID != "range" {
			continue
		}
		last := step.Earlier[len(step.Earlier)-1]
		if step.Verdict != checklist.Passed || last.Verdict != checklist.Failed || last.Why != "repaired since: Metal behind the reader" {
			t.Errorf("range %q after %+v; want passed after failed, repaired since", step.Verdict, last)
		}
	}
	shown, err := report.Show(m)
	if err != nil {
		t.Fatal(err)
	}
	page := string(read(t, dir, report.FileHTML))
	for _, words := range []string{
		"reads at the cover: 3 of 20, against 0.80 or more", "Take the cover off. Is it read?", "Metal behind the reader (87 %)",
		"Cover too thick (41 %): did not cure, as was said", "Metal behind the reader (87 %): cured, as was said", "the step run again: passed, 25 Nov 2026",
	} {
		if !strings.Contains(shown, words) {
			t.Errorf("for a terminal it lacks %q:\n%s", words, shown)
		}
		if !strings.Contains(page, words) {
			t.Errorf("the page lacks %q", words)
		}
	}
	if strings.Contains(shown, showUID) || strings.Contains(page, showUID) || strings.Contains(page, "<steel>") {
		t.Error("an answer shows a tag's identity, or is taken for mark-up")
	}
}

// A story whose step was not run again says so, and one without a cure opens nothing.
func TestAStoryWithoutAnEnd(t *testing.T) {
	for name, tt := range map[string]struct {
		cured   bool
		verdict checklist.Verdict // of the range; "" is open
	}{"cured, not proved": {true, ""}, "not cured": {false, checklist.Failed}} {
		t.Run(name, func(t *testing.T) {
			r := newRun(t)
			r.bench()
			r.failRange()
			d := diagnosed()
			d.Cured, d.Repairs = tt.cured, nil
			r.diagnose(d)
			m := build(t, r, checklist.Bench)
			lines := m.Stories[0].Lines()
			if last := lines[len(lines)-1]; last != [2]string{"proof", "none: the step was not run again"} {
				t.Errorf("last line %q", last)
			}
			verdict := checklist.Verdict("")
			for _, s := range m.Steps {
				if s.ID == "range" && s.Sitting == checklist.Bench {
					verdict = s.Verdict
				}
			}
			if verdict != tt.verdict {
				t.Errorf("range %q, want %q", verdict, tt.verdict)
			}
		})
	}
}

// A report that was signed before there were stories has no such key, keeps to the schema
// and is what its journal holds.
func TestAReportWithoutStoriesIsAsItWas(t *testing.T) {
	dir, _ := bundle(t)
	signed := read(t, dir, report.FileReport)
	if bytes.Contains(signed, []byte(`"stories"`)) || report.Validate(signed) != nil {
		t.Errorf("the key is there, or the schema refuses: %v", report.Validate(signed))
	}
	if _, problems := report.Verify(dir, report.Trust{}); len(problems) > 0 {
		t.Errorf("Verify: %v", problems)
	}
	if bytes.Contains(read(t, dir, report.FileHTML), []byte("How causes were looked for")) {
		t.Error("the page has a story")
	}
}
