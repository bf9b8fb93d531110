package parsers

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

//go:embed event.schema.json
var eventSchema []byte

// EventSchema returns the published JSON Schema (draft 2020-12) of an event's
// JSON, as a copy.
func EventSchema() []byte { return bytes.Clone(eventSchema) }

// eventTime is RFC 3339 with all nine digits, so that lines sort as text.
const eventTime = "2006-01-02T15:04:05.000000000Z07:00"

// eventJSON is an event as JSON Lines show it. Pointers are null where the event
// does not know: no times for a bare file, no reader where the text names none.
type eventJSON struct {
	Seq     uint64            `json:"seq"`
	First   *string           `json:"first"`
	Last    *string           `json:"last"`
	Kind    Kind              `json:"kind"`
	Reader  *int              `json:"reader"`
	Fields  map[string]string `json:"fields"`
	Lines   [2]int            `json:"lines"`
	Offset  int64             `json:"offset"`
	Raw     *string           `json:"raw"`
	End     string            `json:"end"`
	Profile string            `json:"profile"`
}

// MarshalJSON writes the event as one JSON object: seq, first, last (RFC 3339
// with nanoseconds, UTC, null when not known), kind, reader (null when the text
// names none), fields, lines, offset, raw (as EscapeRaw writes it, null for what
// the computer itself saw), end and profile. The UID is in fields as "uid".
func (e Event) MarshalJSON() ([]byte, error) { return e.AppendJSON(nil) }

// UnmarshalJSON reads what MarshalJSON writes; keys that it does not know are
// passed over, for later versions may add some. A failed read changes nothing.
func (e *Event) UnmarshalJSON(text []byte) error {
	var j eventJSON
	if err := json.Unmarshal(text, &j); err != nil {
		return fmt.Errorf("event: %w", err)
	}
	v := Event{Seq: j.Seq, Kind: j.Kind, Reader: NoReader, Lines: j.Lines, Offset: j.Offset, End: j.End, Profile: j.Profile}
	switch {
	case j.Kind == "":
		return errors.New("event: kind: missing")
	case !j.Kind.known():
		return fmt.Errorf("event: kind %q: unknown", string(j.Kind))
	case !knownEnd(j.End):
		return fmt.Errorf("event: end %q: no terminator", j.End)
	case j.Offset < 0:
		return fmt.Errorf("event: offset %d: must be 0 or more", j.Offset)
	}
	var err error
	if v.First, err = jsonTime(j.First); err != nil {
		return fmt.Errorf("event: first: %w", err)
	}
	if v.Last, err = jsonTime(j.Last); err != nil {
		return fmt.Errorf("event: last: %w", err)
	}
	if j.Reader != nil {
		if *j.Reader < 0 {
			return fmt.Errorf("event: reader %d: must be 0 or more", *j.Reader)
		}
		v.Reader = *j.Reader
	}
	v.told = &told{fields: fieldsOf(j.Fields)}
	if text := j.Fields["uid"]; text != "" {
		u, err := ParseUID(text)
		if err != nil {
			return fmt.Errorf("event: fields: %w", err)
		}
		v.told.uid = &u
	}
	if j.Raw != nil {
		if v.Raw, err = UnescapeRaw(*j.Raw); err != nil {
			return fmt.Errorf("event: raw: %w", err)
		}
	}
	*e = v
	return nil
}

func knownEnd(end string) bool {
	switch end {
	case "", "\n", "\r", "\r\n", "\n\r", EndCut:
		return true
	}
	return false
}

func jsonTime(s *string) (time.Time, error) {
	if s == nil {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, *s)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q: not as RFC 3339 has it", *s)
	}
	return t.UTC(), nil
}
