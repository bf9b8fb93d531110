package parsers

import "time"

// NoReader is the reader index of an event whose text names none.
const NoReader = -1

// EndCut is the End of a line that was not finished by a terminator but cut:
// at the length limit, after a quiet time, or because the port went away.
const EndCut = "cut"

// An Event is what one console line, or several that belong together, says.
// Raw and End of all events of a capture, in order, give back its bytes exactly
// (EndCut stands for no bytes).
type Event struct {
	Seq    uint64            // counts from 1 within a capture
	First  time.Time         // arrival of the first byte, UTC; zero when not known
	Last   time.Time         // arrival of the last byte, terminator included; zero when not known
	Kind   Kind              // KindUnknown when no wording matches; never empty
	Reader int               // index of the reader that the text names, else NoReader
	Fields map[string]string // what the text holds, by field name; nil when nothing; shared, so not to be changed
	UID    *UID              // the tag that the line names; nil when none
	Lines  [2]int            // first and last line in the capture, from 1; zero for host events
	Offset int64             // offset in the capture of the first byte of Raw
	Raw    []byte            // the text as received, without its last terminator; nil for host events
	End    string            // "\r\n", "\n", "\r", "\n\r", "" at the end of input, or EndCut
	// Profile names the wording that matched; empty for host events and unknown text.
	Profile string
}

// Field returns the named field, or "" when the event has none of that name.
func (e Event) Field(name string) string { return e.Fields[name] }

// Size is how many bytes of the capture the event covers.
func (e Event) Size() int64 {
	n := int64(len(e.Raw))
	if e.End != EndCut {
		n += int64(len(e.End))
	}
	return n
}
