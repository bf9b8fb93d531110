package report

import (
	"bytes"
	"encoding/json"
	"fmt"

	"propwright/checklist"
)

// eventLines returns events.jsonl: the events of the log, one a line.
func eventLines(entries []checklist.Entry) ([]byte, error) {
	return jsonLines(entries, func(e checklist.Entry) any {
		if e.Event == nil {
			return nil
		}
		return e.Event
	})
}

// frameLines returns link.jsonl: what passed at the controller's side.
func frameLines(entries []checklist.Entry) ([]byte, error) {
	return jsonLines(entries, func(e checklist.Entry) any {
		if e.Frame == nil {
			return nil
		}
		return e.Frame
	})
}

func jsonLines(entries []checklist.Entry, pick func(checklist.Entry) any) ([]byte, error) {
	var b bytes.Buffer
	for _, e := range entries {
		v := pick(e)
		if v == nil {
			continue
		}
		line, err := json.Marshal(v)
		if err != nil {
			return nil, fmt.Errorf("report: entry %d: %w", e.N, err)
		}
		b.Write(append(line, '\n'))
	}
	return b.Bytes(), nil
}

// readConsole joins what the events received. The events of a console follow
// each other without a gap or an overlap in its bytes; where they do not, the
// error says at which entry.
func readConsole(entries []checklist.Entry) ([]byte, error) {
	var b bytes.Buffer
	for _, e := range entries {
		if e.Event == nil || e.Event.Size() == 0 {
			continue
		}
		if e.Event.Offset != int64(b.Len()) {
			return nil, fmt.Errorf("entry %d: event at byte %d of the console, want %d", e.N, e.Event.Offset, b.Len())
		}
		b.Write(e.Event.Raw)
		b.WriteString(e.Event.End[:e.Event.Size()-int64(len(e.Event.Raw))])
	}
	return b.Bytes(), nil
}
