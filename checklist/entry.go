package checklist

import (
	"time"

	"propwright/parsers"
)

// An Entry is one record of the log: exactly one of the pointers is set, save
// for EntryNote. As JSON, one a line, the entries are the journal.
type Entry struct {
	N       int64     `json:"n"`  // counts from 1
	At      time.Time `json:"at"` // UTC, by the run's clock
	Type    EntryType `json:"type"`
	Sitting Sitting   `json:"sitting,omitempty"`
	Step    string    `json:"step,omitempty"`   // the step that was under way
	Reader  int       `json:"reader,omitempty"` // the reader that the step was about, where it is each reader's own

	Run       *RunHeader     `json:"run,omitempty"`
	Event     *parsers.Event `json:"event,omitempty"`
	Frame     *Frame         `json:"frame,omitempty"`
	Instruct  *Instruction   `json:"instruct,omitempty"`
	Answer    *Answer        `json:"answer,omitempty"`
	Measure   *Measure       `json:"measure,omitempty"`
	Outcome   *Outcome       `json:"outcome,omitempty"`
	Changed   []string       `json:"changed,omitempty"`
	Reflash   *Reflash       `json:"reflash,omitempty"`
	Diagnosis *Diagnosis     `json:"diagnosis,omitempty"`
	Note      string         `json:"note,omitempty"`
}

// place is the step that was under way.
func (e Entry) place() Place { return Place{e.Sitting, e.Step, e.Reader} }

// An EntryType says which record an entry is.
type EntryType string

// The types of entry.
const (
	EntryRun       EntryType = "run"       // a process takes up the run: first entry, and again at each resume
	EntryEvent     EntryType = "event"     // what the console said, or what the computer saw of the line
	EntryFrame     EntryType = "frame"     // what passed at the controller's side
	EntryInstruct  EntryType = "instruct"  // what the person was asked to do
	EntryAnswer    EntryType = "answer"    // what the person said
	EntryMeasure   EntryType = "measure"   // what the tool counted or timed
	EntryBegin     EntryType = "begin"     // a step begins, or begins again
	EntryVerdict   EntryType = "verdict"   // a step is decided
	EntryExpire    EntryType = "expire"    // evidence that rested on Changed no longer holds
	EntryReflash   EntryType = "reflash"   // the port is let go for new firmware, or the board is back with it
	EntryDiagnosis EntryType = "diagnosis" // the cause of a failed step was looked for
	EntryNote      EntryType = "note"      // a remark for the report
)

// A RunHeader says which run this is and under what conditions it goes on.
type RunHeader struct {
	Number    int       `json:"number"`    // of the report, within the site
	Program   string    `json:"program"`   // name and version of this tool
	Procedure string    `json:"procedure"` // its name
	Digest    string    `json:"digest"`    // "sha256:…" of the procedure's text
	Item      Item      `json:"item"`
	Clock     string    `json:"clock"`              // real, paced or simulated
	Pace      float64   `json:"pace,omitempty"`     // of a paced clock
	Anchor    time.Time `json:"anchor,omitzero"`    // of a paced clock
	Virtual   bool      `json:"virtual"`            // the board is a virtual one
	Resumed   bool      `json:"resumed"`            // not the first process of this run
	Away      string    `json:"away,omitempty"`     // how long nobody was writing, where resumed
	Computer  string    `json:"computer,omitempty"` // operating system and architecture
	Before    []Prior   `json:"before,omitempty"`   // the prop's runs before this one, by number
}

// A Prior is an earlier run of the same prop.
type Prior struct {
	Number int    `json:"number"`
	End    RunEnd `json:"end"`
}

// A RunEnd says how a run has ended.
type RunEnd string

// The ends of a run. One that nobody signed for is unfinished: it was broken off
// and may still be gone on with.
const (
	EndPassed       RunEnd = "passed"
	EndFailed       RunEnd = "failed"
	EndNotConfirmed RunEnd = "not confirmed"
	EndAborted      RunEnd = "aborted"
	EndUnfinished   RunEnd = "unfinished"
)

// A FrameKind says what happened at the controller's side.
type FrameKind string

// The kinds of frame record.
const (
	FrameConnected FrameKind = "connected"
	FrameRequest   FrameKind = "request"
	FrameClosed    FrameKind = "closed"
	FrameMalformed FrameKind = "malformed"
)

// A Frame is one record of the controller's side: a connection made or closed, or
// one Modbus TCP request with its answer. The JSON keys are the contract's.
type Frame struct {
	At       time.Time `json:"at"` // when the request's last byte had arrived
	Kind     FrameKind `json:"kind"`
	Conn     uint64    `json:"conn"` // counts connections from 1
	Peer     string    `json:"peer"` // ADDRESS:PORT of the client
	Unit     int       `json:"unit"`
	Function int       `json:"function"`
	Address  int       `json:"address"`           // as on the wire, from 0; -1 where the function has none
	Coil     int       `json:"coil"`              // address + the controller's base; -1 where no coil is meant
	Values   []int     `json:"values,omitempty"`  // coils written (0 or 1), or registers
	Answer   string    `json:"answer,omitempty"`  // "ok", or "exception NN" in two hex digits
	Request  string    `json:"request,omitempty"` // the whole ADU, hex
	Reply    string    `json:"reply,omitempty"`   // the whole ADU, hex

	First    time.Time `json:"first,omitzero"`    // when its first byte came, where that was before At
	Answered time.Time `json:"answered,omitzero"` // when the reply's last byte had arrived
	Why      string    `json:"why,omitempty"`     // what ended a connection, or is wrong with what is no frame
}

// Writes reports whether the frame is an answered write to coil that sets it to
// on; coil counts as the site does.
func (f *Frame) Writes(coil int, on bool) bool {
	if f == nil || f.Kind != FrameRequest || f.Answer != "ok" || (f.Function != 5 && f.Function != 15) {
		return false
	}
	i := coil - f.Coil
	if f.Coil < 0 || i < 0 || i >= len(f.Values) {
		return false
	}
	return (f.Values[i] == 1) == on
}

// A Measure is something that the tool counted or timed itself.
type Measure struct {
	Name   string            `json:"name"`
	Value  float64           `json:"value"`
	Unit   string            `json:"unit,omitempty"`
	Reader int               `json:"reader"`
	Params map[string]string `json:"params,omitempty"` // the conditions, such as spacing_mm
	Rests  []Ref             `json:"evidence,omitempty"`
}

// An Outcome is a step decided.
type Outcome struct {
	Verdict  Verdict   `json:"verdict"`
	Findings []Finding `json:"findings"`
	Attempts int       `json:"attempts"`
	Reason   string    `json:"reason,omitempty"` // why skipped, or why it was run again
	Waited   []Waiting `json:"waited,omitempty"` // of Seconds, what the tool let run out
	Seconds  float64   `json:"seconds"`          // by the run's clock, from its first beginning
}
