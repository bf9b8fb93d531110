package report

import (
	"time"

	"propwright/checklist"
)

// Format is the first field of every report of this form.
const Format = "propwright-report-1"

// A Model is report.json: everything that a report says. Lists are never nil, so
// that the JSON has them as arrays. The letters in the comments are the elements
// of ISO/IEC 17025:2017, 7.8.2.1, that the fields answer, where they make sense
// for a home-built reader.
type Model struct {
	Format   string    `json:"format"`
	Title    string    `json:"title"`              // a
	Number   int       `json:"number"`             // d: of the report, within the site
	Issue    int       `json:"issue"`              // counts from 1 within the sitting
	Replaces string    `json:"replaces,omitempty"` // digest of the issue before this one
	Issued   time.Time `json:"issued"`             // j
	// Before are the prop's runs before this one; none for its first.
	Before    []Prior   `json:"before,omitempty"`
	Program   string    `json:"program"`
	Computer  string    `json:"computer"`
	Site      string    `json:"site"` // b, e: who had it done and where
	Prop      string    `json:"prop"`
	Room      string    `json:"room"` // c
	Place     string    `json:"place"`
	Drives    string    `json:"drives"`
	Board     Board     `json:"board"`     // g
	Procedure Procedure `json:"procedure"` // f
	Clock     Clock     `json:"clock"`
	Virtual   bool      `json:"virtual"`  // the board is a virtual one
	DemoKey   bool      `json:"demo_key"` // the signing key was made for a demonstration
	// Sitting is the one that this report closes; earlier ones are in Sittings.
	Sitting  checklist.Sitting `json:"sitting"`
	Verdict  checklist.Verdict `json:"verdict"`  // the worst of the sittings held
	Complete bool              `json:"complete"` // no step of the procedure is open
	Sittings []Sitting         `json:"sittings"` // i, o
	Steps    []Step            `json:"steps"`    // m: the steps decided, in the procedure's order
	Open     []Open            `json:"open"`     // the others
	Item     checklist.Item    `json:"item"`     // g: the plan that the run was judged by
	Tags     []Tag             `json:"tags"`
	Gaps     []Gap             `json:"gaps"`  // n
	Notes    []Note            `json:"notes"` // n
	// Stories say how failed steps came to their causes; none in reports from before
	// there were any.
	Stories  []Story  `json:"stories,omitempty"`
	Cautions []string `json:"cautions"`
	// Limitations say what the result does not cover; n.
	Limitations []string `json:"limitations"`
	// Statements hold for every report; l and p among them.
	Statements []string `json:"statements"`
	Exits      string   `json:"exits"` // that the report proves no exit
	Console    Console  `json:"console"`
	Entries    int      `json:"entries"` // of the journal
	Files      []File   `json:"files"`   // of the bundle, by name
	Signer     Signer   `json:"signer"`  // o
}

// A Board is the board that was tested.
type Board struct {
	Asset    string `json:"asset"`
	MAC      string `json:"mac"`
	IP       string `json:"ip"`
	Firmware string `json:"firmware"` // as the board told it last, "" when it did not
}

// A Procedure is what the run followed.
type Procedure struct {
	Name   string `json:"name"`
	Digest string `json:"digest"` // "sha256:…" of its text
}

// A Clock is what the report's times rest on.
type Clock struct {
	Basis string  `json:"basis"`          // real, paced or simulated
	Pace  float64 `json:"pace,omitempty"` // of a paced clock
}

// A Signer is who answers for a sitting.
type Signer struct {
	Name      string `json:"name"`
	Role      string `json:"role"`
	Principal string `json:"principal"` // as allowed_signers has it
	Key       string `json:"key"`       // "SHA256:…", the fingerprint of the public key
}

// Who names the signer for people, with the role where one was given.
func (s Signer) Who() string {
	if s.Role == "" {
		return s.Name
	}
	return s.Name + ", " + s.Role
}

// A Sitting is one occasion on which work was done. A zero time is not known.
type Sitting struct {
	Sitting checklist.Sitting `json:"sitting"`
	Begun   time.Time         `json:"begun,omitzero"`
	Ended   time.Time         `json:"ended,omitzero"`
	Signed  *Signature        `json:"signed,omitempty"` // nil when nobody has signed for it
	Verdict checklist.Verdict `json:"verdict"`          // the worst of its steps'
	Decided int               `json:"decided"`
	Open    int               `json:"open"`
	// Answers says who answered how many of the sitting's questions, by name.
	Answers []AnswerCount `json:"answers,omitempty"`
}

// An AnswerCount is how many questions somebody answered.
type AnswerCount struct {
	By    string `json:"by"`
	Count int    `json:"count"`
}

// A Prior is an earlier run of the prop, and how it had ended when this one began.
type Prior struct {
	Number int    `json:"number"`
	End    string `json:"end"` // passed, failed, not confirmed, aborted or unfinished
}

// A Signature says who signed for a sitting and when.
type Signature struct {
	Signer
	At time.Time `json:"at"`
}

// A Step is a step with its outcome.
type Step struct {
	ID       string            `json:"id"`
	Title    string            `json:"title"`
	Sitting  checklist.Sitting `json:"sitting"`
	Reader   int               `json:"reader"` // that all findings concern; -1 when they concern several
	Verdict  checklist.Verdict `json:"verdict"`
	Findings []Finding         `json:"findings"`
	Attempts int               `json:"attempts"`
	Reason   string            `json:"reason,omitempty"`
	Seconds  float64           `json:"seconds"`
	At       time.Time         `json:"at"`      // of the verdict
	Entry    Int               `json:"entry"`   // number of the log entry with the verdict
	Earlier  []Earlier         `json:"earlier"` // verdicts that this one takes the place of
	RestsOn  []string          `json:"rests_on"`
	Cautions []string          `json:"cautions"`
	// EachReader says that every reader has a step of its own of this id.
	EachReader bool `json:"each_reader,omitempty"`
}

// An Earlier is a verdict that no longer holds.
type Earlier struct {
	Verdict checklist.Verdict `json:"verdict"`
	At      time.Time         `json:"at"`
	Why     string            `json:"why"`
}

// An Open is a step that is not decided.
type Open struct {
	ID       string            `json:"id"`
	Title    string            `json:"title"`
	Sitting  checklist.Sitting `json:"sitting"`
	Why      string            `json:"why"`
	Earlier  []Earlier         `json:"earlier"`
	RestsOn  []string          `json:"rests_on"`
	Cautions []string          `json:"cautions"`
	// Reader and EachReader are as in a Step.
	Reader     int  `json:"reader,omitempty"`
	EachReader bool `json:"each_reader,omitempty"`
}

// A Finding is one thing found, with an excerpt of its evidence.
type Finding struct {
	What     string              `json:"what"`
	Verdict  checklist.Verdict   `json:"verdict"`
	Value    checklist.Quantity  `json:"value"`
	Limit    *checklist.Quantity `json:"limit,omitempty"`
	How      checklist.How       `json:"how"` // measured, stated or planned
	Note     string              `json:"note,omitempty"`
	Reader   int                 `json:"reader"`
	Caution  string              `json:"caution,omitempty"`
	Evidence []Ref               `json:"evidence"`
	Excerpts []Excerpt           `json:"excerpts"`
	Elided   int                 `json:"elided"` // pieces of evidence that are not among the excerpts
	// Curve is what to draw beside the value, nil where there is nothing.
	Curve *checklist.Curve `json:"curve,omitempty"`
	// TimeLine is the same of a link.
	TimeLine *checklist.TimeLine `json:"time_line,omitempty"`
}

// A Ref points at evidence as checklist.Ref does.
type Ref struct {
	Type checklist.RefType `json:"type"`
	From Int               `json:"from"`
	To   Int               `json:"to,omitempty"`
}

// An Excerpt is a piece of evidence in words.
type Excerpt struct {
	Type  checklist.RefType `json:"type"`
	At    time.Time         `json:"at,omitzero"`
	Where Int               `json:"where"` // byte offset in the console, or number of the log entry
	Text  string            `json:"text"`  // control codes and bytes that are no text as \xNN
}

// A Tag is a tag that the run met or the plan names.
type Tag struct {
	UID         string `json:"uid"`
	Fingerprint string `json:"fingerprint"`
	Role        string `json:"role"`  // in the run, "" where it played none
	Whose       string `json:"whose"` // by the plan
}

// A Gap is a time without the console, or a taking up of the run.
type Gap struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind"` // gap, detached or resumed
	Text string    `json:"text"`
}

// A Note is a remark made during the run.
type Note struct {
	At      time.Time         `json:"at"`
	Sitting checklist.Sitting `json:"sitting,omitempty"`
	Step    string            `json:"step,omitempty"`
	Text    string            `json:"text"`
}

// A Console says how much of the recorded console the events cover; what is
// beyond was received, but not yet read when the report was made.
type Console struct {
	Bytes Int `json:"bytes"`
	Read  Int `json:"read"`
}

// A File is a file of the bundle.
type File struct {
	Name   string `json:"name"`
	Bytes  Int    `json:"bytes"`
	Digest string `json:"digest"` // "sha256:…"
}
