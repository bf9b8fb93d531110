package checklist

import "propwright/parsers"

// A Verdict is the outcome of a step or of one finding.
type Verdict string

// The verdicts, best first. A step's verdict is the worst of its findings';
// a step without findings is not confirmed.
const (
	Passed       Verdict = "passed"
	Skipped      Verdict = "skipped"
	NotConfirmed Verdict = "not confirmed"
	Failed       Verdict = "failed"
)

// rank orders verdicts from best to worst; an unknown word is the worst.
func (v Verdict) rank() int {
	switch v {
	case Passed:
		return 0
	case Skipped:
		return 1
	case NotConfirmed:
		return 2
	default:
		return 3
	}
}

// Worse returns the worse of two verdicts.
func (v Verdict) Worse(w Verdict) Verdict {
	if w.rank() > v.rank() {
		return w
	}
	return v
}

// How says where a finding's figure comes from; a report keeps the kinds apart.
type How string

// The three origins of a figure.
const (
	Measured How = "measured" // counted or timed by the tool from events and frames
	Stated   How = "stated"   // a person's word
	Planned  How = "planned"  // taken from the site's plan
)

// A Finding is one thing that a step came to know.
type Finding struct {
	What    string    `json:"what"`            // what was looked at, a few words
	Verdict Verdict   `json:"verdict"`         //
	Value   Quantity  `json:"value"`           // what was found
	Limit   *Quantity `json:"limit,omitempty"` // what it was held against
	How     How       `json:"how"`             //
	Note    string    `json:"note,omitempty"`  // one sentence for people: why, or what to try
	Reader  int       `json:"reader"`          // index of the reader concerned, 0 where there is one
	Rests   []Ref     `json:"evidence"`        // never empty for a pass
	Caution string    `json:"caution,omitempty"`
	Curve   *Curve    `json:"curve,omitempty"` // a picture of what the value came from
	// TimeLine is another such picture, of a link.
	TimeLine *TimeLine `json:"time_line,omitempty"`
}

// A Quantity is a figure with its unit, or a text where the thing is no figure.
type Quantity struct {
	Number *float64 `json:"number,omitempty"`
	Unit   string   `json:"unit,omitempty"` // "s", "mm", "V", "1" for counts and shares
	Text   string   `json:"text,omitempty"` // the value for people, or the value itself where Number is nil
	// Low and High bound the figure at Level (0.95 for 95 %) where an interval is
	// known; a side that the data do not bound is nil.
	Low   *float64 `json:"low,omitempty"`
	High  *float64 `json:"high,omitempty"`
	Level float64  `json:"level,omitempty"`
}

// Text is a quantity that is no figure.
func Text(s string) Quantity { return Quantity{Text: s} }

// Number is a figure with its unit and the words that show it.
func Number(v float64, unit, text string) Quantity {
	return Quantity{Number: &v, Unit: unit, Text: text}
}

// A RefType says what a Ref points at.
type RefType string

// The four sorts of evidence.
const (
	RefConsole RefType = "console" // From and To are byte offsets in the console capture, To excluded
	RefFrame   RefType = "frame"   // From is the number of a log entry that holds a frame
	RefAnswer  RefType = "answer"  // From is the number of a log entry that holds an answer
	RefMeasure RefType = "measure" // From is the number of a log entry that holds a measurement
)

// A Ref points at a piece of evidence.
type Ref struct {
	Type RefType `json:"type"`
	From int64   `json:"from"`
	To   int64   `json:"to,omitempty"`
}

// RefOf returns the evidence that a log entry is.
func RefOf(e Entry) Ref {
	switch {
	case e.Event != nil && e.Event.Raw != nil:
		return Ref{RefConsole, e.Event.Offset, e.Event.Offset + e.Event.Size()}
	case e.Frame != nil:
		return Ref{RefFrame, e.N, 0}
	case e.Answer != nil:
		return Ref{RefAnswer, e.N, 0}
	default:
		return Ref{RefMeasure, e.N, 0}
	}
}

// RefsOf returns the evidence of several entries, neighbouring stretches of the
// console joined.
func RefsOf(entries ...Entry) []Ref {
	var refs []Ref
	for _, e := range entries {
		if e.N == 0 {
			continue // no entry: no evidence
		}
		r := RefOf(e)
		if n := len(refs); n > 0 && r.Type == RefConsole && refs[n-1].Type == RefConsole && refs[n-1].To == r.From {
			refs[n-1].To = r.To
			continue
		}
		refs = append(refs, r)
	}
	return refs
}

// uidOf returns the UID text of an event, "" when it names none.
func uidOf(e *parsers.Event) string {
	if e == nil {
		return ""
	}
	if u := e.UID(); u != nil {
		return u.String()
	}
	return ""
}
