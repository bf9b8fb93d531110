package parsers

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"
)

// AppendJSON appends the event as MarshalJSON writes it. It is what a program calls
// that writes many.
func (e Event) AppendJSON(b []byte) ([]byte, error) {
	b = strconv.AppendUint(append(b, `{"seq":`...), e.Seq, 10)
	var err error
	for _, t := range []struct {
		name string
		at   time.Time
	}{{"first", e.First}, {"last", e.Last}} {
		b = append(append(append(b, `,"`...), t.name...), `":`...)
		if b, err = appendTime(b, t.at); err != nil {
			return nil, fmt.Errorf("event %d: %s: %w", e.Seq, t.name, err)
		}
	}
	b = appendText(append(b, `,"kind":`...), string(e.Kind))
	b = append(b, `,"reader":`...)
	if e.Reader == NoReader {
		b = append(b, "null"...)
	} else {
		b = strconv.AppendInt(b, int64(e.Reader), 10)
	}
	b = e.appendFields(append(b, `,"fields":{`...))
	b = strconv.AppendInt(append(b, `},"lines":[`...), int64(e.Lines[0]), 10)
	b = strconv.AppendInt(append(b, ','), int64(e.Lines[1]), 10)
	b = strconv.AppendInt(append(b, `],"offset":`...), e.Offset, 10)
	b = append(b, `,"raw":`...)
	switch {
	case e.Raw == nil:
		b = append(b, "null"...)
	case isPlainJSON(e.Raw):
		b = append(append(append(b, '"'), e.Raw...), '"')
	default:
		b = appendText(b, EscapeRaw(e.Raw))
	}
	b = appendEnd(append(b, `,"end":`...), e.End)
	b = appendText(append(b, `,"profile":`...), e.Profile)
	return append(b, '}'), nil
}

// appendFields appends the fields by name, the UID among them.
func (e Event) appendFields(b []byte) []byte {
	var few [16]string
	names := few[:0]
	for name := range e.Fields {
		names = append(names, name)
	}
	uid := e.UID != nil && e.Fields["uid"] == ""
	if _, listed := e.Fields["uid"]; uid && !listed {
		names = append(names, "uid")
	}
	slices.Sort(names)
	for i, name := range names {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(appendText(b, name), ':')
		if name == "uid" && uid {
			b = appendText(b, e.UID.String())
			continue
		}
		b = appendText(b, e.Fields[name])
	}
	return b
}

func appendTime(b []byte, t time.Time) ([]byte, error) {
	if t.IsZero() {
		return append(b, "null"...), nil
	}
	t = t.UTC()
	if y := t.Year(); y < 0 || y > 9999 {
		return nil, fmt.Errorf("year %d: not 0 to 9999", y)
	}
	return append(t.AppendFormat(append(b, '"'), eventTime), '"'), nil
}

// appendEnd appends a terminator.
func appendEnd(b []byte, end string) []byte {
	switch end {
	case "\r\n":
		return append(b, `"\r\n"`...)
	case "\n":
		return append(b, `"\n"`...)
	}
	return appendText(b, end)
}

// appendText appends a JSON string; what is no UTF-8 in it becomes U+FFFD.
func appendText(b []byte, text string) []byte {
	for i := range len(text) {
		if !plainJSON[text[i]] {
			return appendAnyText(b, text)
		}
	}
	return append(append(append(b, '"'), text...), '"')
}

// plainJSON are the bytes that stand for themselves in a JSON string.
var plainJSON = func() (plain [256]bool) {
	for c := range plain {
		plain[c] = c >= ' ' && c <= '~' && c != '"' && c != '\\'
	}
	return plain
}()

func isPlainJSON(raw []byte) bool {
	for _, c := range raw {
		if !plainJSON[c] {
			return false
		}
	}
	return true
}

func appendAnyText(b []byte, text string) []byte {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(text); err != nil {
		return append(b, `""`...) // no string fails
	}
	return append(b, bytes.TrimSuffix(out.Bytes(), []byte("\n"))...)
}
