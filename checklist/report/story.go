package report

import (
	"fmt"
	"strings"
	"time"

	"propwright/checklist"
)

// A Story is how a failed step came to its cause, and what became of it.
type Story struct {
	At      time.Time                   `json:"at"` // when the search ended
	Sitting checklist.Sitting           `json:"sitting"`
	Step    string                      `json:"step"`
	Reader  int                         `json:"reader,omitempty"`
	Title   string                      `json:"title"` // of the step
	Symptom []string                    `json:"symptom"`
	Tests   []checklist.DiagnosisTest   `json:"tests"`
	Cause   *checklist.DiagnosisCause   `json:"cause,omitempty"`
	Repairs []checklist.DiagnosisRepair `json:"repairs"`
	Cured   bool                        `json:"cured"`             // as a person says
	Reflash bool                        `json:"reflash,omitempty"` // it ended with new firmware
	Changed []string                    `json:"changed,omitempty"`
	// Proof is the step's next verdict; nil while it has none.
	Proof *Proof `json:"proof,omitempty"`
}

// A Proof is the verdict of a step that was run again.
type Proof struct {
	Verdict checklist.Verdict `json:"verdict"`
	At      time.Time         `json:"at"`
	Entry   Int               `json:"entry"` // number of the log entry with the verdict
}

// tell puts an entry into the stories: one begins with a diagnosis and is proved by its
// step's next verdict.
func (f *folded) tell(e checklist.Entry, plan []checklist.Step) {
	place := checklist.Place{Sitting: e.Sitting, Step: e.Step, Reader: e.Reader}
	switch {
	case e.Diagnosis != nil:
		d := e.Diagnosis
		s := Story{
			At: utc(e.At), Sitting: e.Sitting, Step: e.Step, Reader: e.Reader, Symptom: list(d.Symptom), Tests: list(d.Tests),
			Cause: d.Cause, Repairs: list(d.Repairs), Cured: d.Cured, Reflash: d.Reflash, Changed: d.Changed,
		}
		for _, step := range plan {
			if step.Place() == place {
				s.Title = step.Title
			}
		}
		f.Stories = append(f.Stories, s)
	case e.Outcome != nil:
		for i, s := range f.Stories {
			if s.Proof == nil && place == (checklist.Place{Sitting: s.Sitting, Step: s.Step, Reader: s.Reader}) {
				f.Stories[i].Proof = &Proof{Verdict: e.Outcome.Verdict, At: utc(e.At), Entry: Int(e.N)}
			}
		}
	}
}

// Lines tell the story, a line each, with what each line is.
func (s Story) Lines() [][2]string {
	lines := [][2]string{{"symptom", strings.Join(s.Symptom, "; ")}}
	for _, t := range s.Tests {
		lines = append(lines, [2]string{"test", t.Ask + " " + t.Answer})
	}
	if s.Cause != nil {
		lines = append(lines, [2]string{"cause", likely(*s.Cause)})
	} else {
		lines = append(lines, [2]string{"cause", "not found"})
	}
	for _, r := range s.Repairs {
		came := "did not cure, as was said"
		if r.Cured {
			came = "cured, as was said"
		}
		lines = append(lines, [2]string{"repair", likely(r.Cause) + ": " + came})
	}
	if s.Reflash {
		lines = append(lines, [2]string{"repair", "new firmware"})
	}
	if len(s.Changed) > 0 {
		lines = append(lines, [2]string{"changed", strings.Join(s.Changed, ", ")})
	}
	proof := "none: the step was not run again"
	if s.Proof != nil {
		proof = fmt.Sprintf("the step run again: %s, %s", s.Proof.Verdict, dayAndTime(s.Proof.At))
	}
	return append(lines, [2]string{"proof", proof})
}

// likely names a cause with its probability.
func likely(c checklist.DiagnosisCause) string {
	return fmt.Sprintf("%s (%.0f %%)", c.Title, 100*c.Probability)
}
