package parsers

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"time"
)

// AppendJSON appends the event as MarshalJSON writes it.
func (e Event) AppendJSON(b []byte) ([]byte, error) {
	b, err := e.appendPlace(b)
	if err != nil {
		return nil, err
	}
	b = e.appendMeaning(b)
	b = e.appendLines(b)
	b = e.appendRaw(b)
	return e.appendEnd(b), nil
}

// appendPlace appends what comes first: number and times.
func (e *Event) appendPlace(b []byte) ([]byte, error) {
	return e.appendTimes(strconv.AppendUint(append(b, `{"seq":`...), e.Seq, 10))
}

func (e *Event) appendTimes(b []byte) (_ []byte, err error) {
	if e.First.IsZero() && e.Last.IsZero() {
		return append(b, noTimes...), nil
	}
	if b, err = appendTime(append(b, `,"first":`...), e.First); err != nil {
		return nil, fmt.Errorf("event %d: first: %w", e.Seq, err)
	}
	if b, err = appendTime(append(b, `,"last":`...), e.Last); err != nil {
		return nil, fmt.Errorf("event %d: last: %w", e.Seq, err)
	}
	return b, nil
}

// appendMeaning appends kind, reader and fields.
func (e *Event) appendMeaning(b []byte) []byte {
	is := e.holds()
	return e.appendMeaningOf(b, &is)
}

func (e *Event) appendMeaningOf(b []byte, is *told) []byte {
	b = appendText(append(b, `,"kind":`...), string(e.Kind))
	b = append(b, `,"reader":`...)
	if e.Reader == NoReader {
		b = append(b, "null"...)
	} else {
		b = strconv.AppendInt(b, int64(e.Reader), 10)
	}
	return append(is.fields.append(append(b, `,"fields":{`...)), '}')
}

// appendLines appends where the event stands in its capture.
func (e *Event) appendLines(b []byte) []byte {
	b = append(b, `,"lines":[`...)
	b = append(strconv.AppendInt(b, int64(e.Lines[0]), 10), ',')
	b = strconv.AppendInt(b, int64(e.Lines[1]), 10)
	return strconv.AppendInt(append(b, `],"offset":`...), e.Offset, 10)
}

// appendRaw appends the text.
func (e *Event) appendRaw(b []byte) []byte {
	b = append(b, `,"raw":`...)
	switch {
	case e.Raw == nil:
		return append(b, "null"...)
	case isPlainJSON(e.Raw):
		return append(append(append(b, '"'), e.Raw...), '"')
	}
	return appendText(b, EscapeRaw(e.Raw))
}

// appendEnd appends what comes last: terminator and profile.
func (e *Event) appendEnd(b []byte) []byte { return appendEndOf(b, e.End, e.Profile) }

func appendEndOf(b []byte, end, profile string) []byte {
	b = appendEnd(append(b, `,"end":`...), end)
	b = appendText(append(b, `,"profile":`...), profile)
	return append(b, '}')
}

// append appends the fields by name, as the members of an object.
func (f fields) append(b []byte) []byte {
	for i := range f {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(appendText(b, f[i].name), ':')
		b = appendText(b, f[i].value)
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
