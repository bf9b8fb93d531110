package parsers

import (
	"bytes"
	"slices"
	"time"
)

// NoReader is the reader index of an event whose text names none.
const NoReader = -1

// EndCut is the End of a line that was not finished by a terminator but cut:
// at the length limit, after a quiet time, or because the port went away.
const EndCut = "cut"

// An Event is what one console line, or several that belong together, says.
// Raw and End of all events of a capture, in order, give back its bytes exactly
// (EndCut stands for no bytes).
//
// What the text holds (Field, Fields, UID, Guess) is read from Raw when it is asked
// for: of most lines of a long capture nobody asks. Events are values and safe for
// concurrent use as long as nobody changes Raw.
type Event struct {
	Seq    uint64    // counts from 1 within a capture
	First  time.Time // arrival of the first byte, UTC; zero when not known
	Last   time.Time // arrival of the last byte, terminator included; zero when not known
	Kind   Kind      // KindUnknown when no wording matches; never empty
	Reader int       // index of the reader that the text names, else NoReader
	Lines  [2]int    // first and last line in the capture, from 1; zero for host events
	Offset int64     // offset in the capture of the first byte of Raw
	Raw    []byte    // the text as received, without its last terminator; nil for host events
	End    string    // "\r\n", "\n", "\r", "\n\r", "" at the end of input, or EndCut
	// Profile names the wording that matched; empty for host events and unknown text.
	Profile string

	told *told   // what the event holds where that is settled; nil where it is read from Raw,
	said *saying // as this wording has it, or without one as unknown text
	sum  sum     // of Raw where that is plain text; 0 where it is not known
}

// told is what an event holds. It is shared and never changed.
type told struct {
	fields fields
	uid    *UID
}

// Holding returns the event with fields in place of those that its text holds. A
// field "uid" that reads as a tag's identity becomes its UID.
func (e Event) Holding(fields map[string]string) Event {
	e.told, e.said = &told{fields: fieldsOf(fields)}, nil
	if u, err := ParseUID(fields["uid"]); err == nil {
		e.told.uid = &u
	}
	return e
}

// holds is what the event holds.
func (e *Event) holds() told {
	switch {
	case e.told != nil:
		return *e.told
	case e.said != nil:
		return e.said.holds(e.Raw)
	case e.Kind == KindUnknown:
		return holds(e.Raw)
	}
	return told{}
}

// Field returns the named field, or "" when the event has none of that name.
func (e Event) Field(name string) string { return e.holds().fields.get(name) }

// Fields returns what the text holds, by field name, as a map of the caller's own;
// nil when nothing.
func (e Event) Fields() map[string]string { return e.holds().fields.mapped() }

// UID returns the tag that the text names, nil when none.
func (e Event) UID() *UID {
	if e.told == nil && e.said != nil && !e.said.tags {
		return nil
	}
	return e.holds().uid
}

// Equal reports whether two events say the same, whether their fields were read yet
// or not.
func (e Event) Equal(other Event) bool {
	a, b := e.holds(), other.holds()
	return e.Seq == other.Seq && e.First.Equal(other.First) && e.Last.Equal(other.Last) && e.Kind == other.Kind &&
		e.Reader == other.Reader && e.Lines == other.Lines && e.Offset == other.Offset &&
		bytes.Equal(e.Raw, other.Raw) && (e.Raw == nil) == (other.Raw == nil) && e.End == other.End && e.Profile == other.Profile &&
		slices.Equal(a.fields, b.fields) && (a.uid == nil) == (b.uid == nil) && (a.uid == nil || *a.uid == *b.uid)
}

// Size is how many bytes of the capture the event covers.
func (e Event) Size() int64 {
	n := int64(len(e.Raw))
	if e.End != EndCut {
		n += int64(len(e.End))
	}
	return n
}
