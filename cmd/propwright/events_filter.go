package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"propwright/parsers"
)

// An eventFilter says which events are shown. The zero value lets all through.
type eventFilter struct {
	kinds        []parsers.Kind
	uid          *parsers.UID
	since, until time.Time // of the first byte; events without a time are not shown then
}

// newEventFilter reads a filter as the flags give it.
func newEventFilter(kinds []string, uid, since, until string) (f eventFilter, err error) {
	for _, k := range kinds {
		if !slices.Contains(parsers.Kinds(), parsers.Kind(k)) {
			var all []string
			for _, known := range parsers.Kinds() {
				all = append(all, string(known))
			}
			return f, usageError{fmt.Errorf("kind %q: not known, there are: %s", k, strings.Join(all, ", "))}
		}
		f.kinds = append(f.kinds, parsers.Kind(k))
	}
	if uid != "" {
		u, err := parsers.ParseUID(uid)
		if err != nil {
			return f, usageError{err}
		}
		f.uid = &u
	}
	for _, t := range []struct {
		name, text string
		to         *time.Time
	}{{"since", since, &f.since}, {"until", until, &f.until}} {
		if t.text == "" {
			continue
		}
		if *t.to, err = time.Parse(time.RFC3339Nano, t.text); err != nil {
			return f, usageError{fmt.Errorf("%s %q: not a time as in 2026-11-25T21:30:00Z", t.name, t.text)}
		}
	}
	return f, nil
}

// shows reports whether an event is to be shown.
func (f eventFilter) shows(e *parsers.Event) bool {
	switch {
	case len(f.kinds) > 0 && !slices.Contains(f.kinds, e.Kind):
		return false
	case f.uid != nil && !names(e, *f.uid):
		return false
	case !f.since.IsZero() && (e.First.IsZero() || e.First.Before(f.since)):
		return false
	case !f.until.IsZero() && (e.First.IsZero() || !e.First.Before(f.until)):
		return false
	}
	return true
}

// names reports whether an event names a tag.
func names(e *parsers.Event, tag parsers.UID) bool {
	u := e.UID()
	return u != nil && *u == tag
}
