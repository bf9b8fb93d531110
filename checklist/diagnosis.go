package checklist

import (
	"context"
	"errors"
)

// A Diagnosis is what came of looking for the cause of a failed step: one entry of the
// log, which belongs to that step. The proof of a repair is not in it: that is the
// step's next verdict.
type Diagnosis struct {
	Symptom []string          `json:"symptom"`           // the step's failed findings, in words
	Tests   []DiagnosisTest   `json:"tests"`             // in the order in which they were made
	Cause   *DiagnosisCause   `json:"cause,omitempty"`   // the one that led at the end; nil where none did
	Repairs []DiagnosisRepair `json:"repairs"`           // in the order in which they were tried
	Cured   bool              `json:"cured"`             // as a person says
	Reflash bool              `json:"reflash,omitempty"` // it ended because the board was to get new firmware
	Changed []string          `json:"changed,omitempty"` // what the repair changed, as a person says
}

// A DiagnosisTest is a test with what came out, both in words.
type DiagnosisTest struct {
	Ask    string `json:"ask"`
	Answer string `json:"answer"`
}

// A DiagnosisCause is a cause and how likely it was held to be, from 0 to 1.
type DiagnosisCause struct {
	ID          string  `json:"id"`
	Title       string  `json:"title"`
	Probability float64 `json:"probability"`
}

// A DiagnosisRepair is a repair that was tried.
type DiagnosisRepair struct {
	Cause DiagnosisCause `json:"cause"`
	Cured bool           `json:"cured"` // as a person says
}

// Repaired names the cause that was repaired, "" where nothing cured.
func (d *Diagnosis) Repaired() string {
	if !d.Cured {
		return ""
	}
	for _, r := range d.Repairs {
		if r.Cured {
			return r.Cause.Title
		}
	}
	return "cause not named"
}

// cures reports whether an entry says that what failed a step was repaired, so that its
// verdict no longer holds and the step is to be run again as the proof.
func (e Entry) cures() bool { return e.Diagnosis != nil && e.Diagnosis.Cured }

// errRepaired ends a walk because a failed step is to be run again.
var errRepaired = errors.New("the cause was repaired")

// afterFailure has the cause of a step's failure looked for, where somebody does, and
// puts on record what came of it, also where it was broken off. The error is errRepaired
// or errReflash where the walk has to begin again for it.
func (e *Engine) afterFailure(ctx context.Context, d Decision) error {
	if e.Failed == nil || d.Outcome.Verdict != Failed || d.Again && (e.Unfinished == nil || !e.Unfinished(d.Step)) {
		return nil
	}
	made, err := e.Failed(ctx, d)
	if made == nil {
		return err
	}
	e.Log.under(d.Step.Place())
	defer e.Log.under(Place{})
	if _, logErr := e.Log.Append(Entry{Type: EntryDiagnosis, Diagnosis: made}); logErr != nil {
		return errors.Join(err, logErr)
	}
	if made.Cured && len(made.Changed) > 0 {
		if _, logErr := e.Log.Append(Entry{Type: EntryExpire, Changed: made.Changed}); logErr != nil {
			return errors.Join(err, logErr)
		}
	}
	if syncErr := e.Log.Sync(); syncErr != nil {
		return errors.Join(err, syncErr)
	}
	switch {
	case err != nil:
		return err
	case made.Reflash && e.Board != nil:
		return errReflash
	case made.Cured:
		return errRepaired
	}
	return nil
}
