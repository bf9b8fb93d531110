package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// A folded is what the log alone says. Verify folds the journal again and holds
// the result against the report.
type folded struct {
	Steps    []Step
	Open     []Open
	Sittings []Sitting // without signatures
	Gaps     []Gap
	Notes    []Note
	Stories  []Story // nil where there is none
	answers  map[checklist.Sitting]map[string]int
}

// A record is what the log says of one step.
type record struct {
	outcome *checklist.Outcome
	at      time.Time
	entry   int64
	why     string // it is open
	earlier []Earlier
	begun   time.Time
	touched bool
}

// fold goes through the log once.
func fold(entries []checklist.Entry, plan []checklist.Step) folded {
	f := folded{Steps: []Step{}, Open: []Open{}, Sittings: []Sitting{}, Gaps: []Gap{}, Notes: []Note{}, answers: map[checklist.Sitting]map[string]int{}}
	records := map[checklist.Place]*record{}
	for _, s := range plan {
		records[s.Place()] = &record{why: "not begun"}
	}
	for _, e := range entries {
		f.remark(e)
		f.answered(e)
		f.tell(e, plan)
		if e.Type == checklist.EntryExpire {
			expire(records, plan, e)
		}
		if r := records[checklist.Place{Sitting: e.Sitting, Step: e.Step, Reader: e.Reader}]; r != nil {
			r.take(e)
		}
	}
	ex := newExcerpter(entries)
	for _, s := range plan {
		r := records[s.Place()]
		if r.outcome == nil {
			f.Open = append(f.Open, Open{
				ID: s.ID, Title: s.Title, Sitting: s.Sitting, Why: r.why,
				Earlier: list(r.earlier), RestsOn: list(s.RestsOn), Cautions: list(checklist.CautionTexts(s.Cautions)),
				Reader: s.Reader, EachReader: s.EachReader != "",
			})
			continue
		}
		f.Steps = append(f.Steps, stepOf(s, r, ex))
	}
	f.sittings(plan, records)
	return f
}

// take notes what an entry of the step itself says.
func (r *record) take(e checklist.Entry) {
	r.touched = true
	if r.begun.IsZero() {
		r.begun = utc(e.At)
	}
	switch {
	case e.Type == checklist.EntryBegin:
		r.retire("begun again")
		r.why = "begun, not decided"
	case e.Type == checklist.EntryVerdict && e.Outcome != nil:
		r.retire("decided again")
		r.outcome, r.at, r.entry = e.Outcome, utc(e.At), e.N
	case e.Diagnosis != nil && e.Diagnosis.Cured:
		why := "repaired since: " + e.Diagnosis.Repaired()
		r.retire(why)
		r.why = why
	}
}

// retire keeps a verdict that no longer holds.
func (r *record) retire(why string) {
	if r.outcome == nil {
		return
	}
	r.earlier = append(r.earlier, Earlier{Verdict: r.outcome.Verdict, At: r.at, Why: why})
	r.outcome = nil
}

// expire takes the ground from under the steps whose evidence rested on what
// has changed, in both sittings.
func expire(records map[checklist.Place]*record, plan []checklist.Step, e checklist.Entry) {
	for _, s := range plan {
		var on []string
		for _, base := range s.RestsOn {
			if slices.Contains(e.Changed, base) {
				on = append(on, base)
			}
		}
		if r := records[s.Place()]; len(on) > 0 && r.outcome != nil {
			why := "changed since: " + strings.Join(on, ", ")
			r.retire(why)
			r.why = why
		}
	}
}

// remark collects gaps, resumes and notes.
func (f *folded) remark(e checklist.Entry) {
	gap := func(kind, text string) {
		f.Gaps = append(f.Gaps, Gap{At: utc(e.At), Kind: kind, Text: text})
	}
	switch {
	case e.Run != nil && e.Run.Resumed:
		text := "the run was taken up again"
		if e.Run.Away != "" {
			text += " after " + e.Run.Away
		}
		gap("resumed", text)
	case e.Event != nil && e.Event.Kind == parsers.KindGap:
		gap("gap", "no open port for "+orUnknown(e.Event.Field("seconds"))+" s")
	case e.Event != nil && e.Event.Kind == parsers.KindDetached:
		gap("detached", "port let go or lost: "+orUnknown(e.Event.Field("why")))
	case e.Type == checklist.EntryNote:
		f.Notes = append(f.Notes, Note{At: utc(e.At), Sitting: e.Sitting, Step: e.Step, Text: e.Note})
	case e.Reflash != nil:
		f.Notes = append(f.Notes, Note{At: utc(e.At), Sitting: e.Sitting, Text: e.Reflash.String()})
	case e.Type == checklist.EntryExpire:
		f.Notes = append(f.Notes, Note{At: utc(e.At), Text: "changed, so what rested on it no longer holds: " + strings.Join(e.Changed, ", ")})
	}
}

// sittings sums up the sittings in which a step was at least begun. The verdict is the worst of the steps'; a sitting with
// an open step is at best not confirmed.
func (f *folded) sittings(plan []checklist.Step, records map[checklist.Place]*record) {
	for _, sitting := range []checklist.Sitting{checklist.Bench, checklist.Site} {
		t := Sitting{Sitting: sitting, Verdict: checklist.Passed}
		held := false
		for _, u := range plan {
			if u.Sitting != sitting {
				continue
			}
			r := records[u.Place()]
			held = held || r.touched
			if !r.begun.IsZero() && (t.Begun.IsZero() || r.begun.Before(t.Begun)) {
				t.Begun = r.begun
			}
			if r.outcome == nil {
				t.Open++
				t.Verdict = t.Verdict.Worse(checklist.NotConfirmed)
				continue
			}
			t.Decided++
			t.Verdict = t.Verdict.Worse(r.outcome.Verdict)
			if r.at.After(t.Ended) {
				t.Ended = r.at
			}
		}
		if held {
			t.Answers = counts(f.answers[sitting])
			f.Sittings = append(f.Sittings, t)
		}
	}
}

func stepOf(s checklist.Step, r *record, ex *excerpter) Step {
	o := r.outcome
	step := Step{
		ID: s.ID, Title: s.Title, Sitting: s.Sitting, Verdict: o.Verdict, Findings: []Finding{},
		Attempts: o.Attempts, Reason: o.Reason, Seconds: o.Seconds, At: r.at, Entry: Int(r.entry),
		Earlier: list(r.earlier), RestsOn: list(s.RestsOn), Cautions: list(checklist.CautionTexts(s.Cautions)),
		Reader: s.Reader, EachReader: s.EachReader != "",
	}
	for i, f := range o.Findings {
		switch {
		case step.EachReader:
		case i == 0:
			step.Reader = f.Reader
		case f.Reader != step.Reader:
			step.Reader = -1
		}
		step.Findings = append(step.Findings, findingOf(f, ex))
	}
	return step
}

func findingOf(f checklist.Finding, ex *excerpter) Finding {
	refs := []Ref{}
	for _, r := range f.Rests {
		refs = append(refs, Ref{r.Type, Int(r.From), Int(r.To)})
	}
	excerpts, elided := ex.of(f.Rests)
	return Finding{
		What: f.What, Verdict: f.Verdict, Value: f.Value, Limit: f.Limit, How: f.How, Note: f.Note,
		Reader: f.Reader, Caution: f.Caution, Evidence: refs, Excerpts: excerpts, Elided: elided, Curve: f.Curve, TimeLine: f.TimeLine,
	}
}

// list makes a nil slice an empty one and copies the rest.
func list[T any](s []T) []T { return append([]T{}, s...) }

// utc drops what does not outlive JSON: the monotonic reading and the zone.
func utc(t time.Time) time.Time { return t.Round(0).UTC() }

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

// worst is the worst of the sittings' verdicts; without any sitting nothing is
// confirmed.
func worst(sittings []Sitting) checklist.Verdict {
	if len(sittings) == 0 {
		return checklist.NotConfirmed
	}
	v := checklist.Passed
	for _, s := range sittings {
		v = v.Worse(s.Verdict)
	}
	return v
}

// held says how much was done, for people.
func held(m Model) string {
	var words []string
	for _, s := range m.Sittings {
		words = append(words, string(s.Sitting))
	}
	switch len(words) {
	case 0:
		return "no sitting held"
	case 1:
		return fmt.Sprintf("%s sitting", words[0])
	default:
		return strings.Join(words, " and ") + " sittings"
	}
}
