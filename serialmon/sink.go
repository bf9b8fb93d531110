package serialmon

import "time"

// A Sink takes what a source has heard. Its methods are called by one goroutine,
// in the order of arrival; an error ends the source. A sink may keep b. It must
// not call back into the Session that calls it, save for Session.Speed and
// Session.Done.
type Sink interface {
	// Bytes takes bytes that are on record already. at is when they arrived, zero
	// where that is not known; offset is where the first one stands in the capture.
	Bytes(b []byte, at time.Time, offset int64) error
	// Mark takes a fact about the line itself.
	Mark(m Mark) error
}

// A MarkKind says what a mark states.
type MarkKind string

// The kinds of mark. After a port was lost and came back, attached comes first and
// then gap. A restart of the board by closing and opening gives a gap alone: the
// port never was out of our hands.
const (
	MarkAttached MarkKind = "attached" // the port was opened
	MarkDetached MarkKind = "detached" // it went away or was let go; see Why
	MarkGap      MarkKind = "gap"      // nobody listened for a time; see Away
)

// What Why says where it is no error's text.
const (
	WhyLetGo  = "let go"       // we closed it ourselves
	WhyEnded  = "end of input" // a pipe or a replay has come to its end
	WhyReset  = "reset"        // closed and opened to restart the board
	WhyResume = "recording resumed"
)

// A Mark is a fact about the line, at a place among the bytes.
type Mark struct {
	Kind       MarkKind
	At         time.Time     // zero where not known
	Offset     int64         // of the next byte in the capture
	Name       string        // of the port or capture
	Speed      int           // in baud, 0 where there is none
	Attachment int           // number of the attachment within the session, from 1
	Away       time.Duration // of a gap: how long nobody listened
	Why        string        // of a detachment or gap
}
