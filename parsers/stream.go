package parsers

import (
	"maps"
	"time"
)

// A Position is where a capture stands: what the next event continues.
type Position struct {
	Offset int64  // bytes so far
	Seq    uint64 // events so far
	Line   int    // lines so far
}

// tagWithin is how many lines after a tag was named a line of a profile may take
// the tag's identity over (uid = "before").
const tagWithin = 6

// A Stream turns console bytes into events. Raw and End of its events, in order,
// give back exactly the bytes that it was fed, whatever the pieces. It is not safe
// for concurrent use. emit is called before Feed, Settle, Flush and Mark return,
// and must not call back into the stream.
type Stream struct {
	profiles []*Profile
	split    Splitter
	offset   int64 // behind the last byte given out in an event or pending
	seq      uint64
	line     int

	pending *pendingLabel
	memo    memo

	lastUID  *UID // of the last line that named a tag
	lastLine int
}

// pendingLabel is a line whose value may come on the next one.
type pendingLabel struct {
	event   Event // as it would be on its own
	bare    bool  // on its own the label says nothing
	reading reading
	profile *Profile
}

// NewStream makes a Stream that begins a capture. Where several profiles are
// given, the first that knows a line decides about it.
func NewStream(profiles ...*Profile) *Stream { return StreamAt(Position{}, profiles...) }

// StreamAt makes a Stream that goes on with a capture at a position.
func StreamAt(at Position, profiles ...*Profile) *Stream {
	return &Stream{
		profiles: profiles,
		split:    SplitterAt(at.Offset, at.Line),
		offset:   at.Offset, seq: at.Seq, line: at.Line,
	}
}

// Position is where the events given out so far have come to. Bytes that wait for
// the end of their line are not in it.
func (s *Stream) Position() Position {
	at := Position{Offset: s.offset, Seq: s.seq, Line: s.line}
	if s.pending != nil {
		at.Offset, at.Line = s.pending.event.Offset, s.pending.event.Lines[0]-1
	}
	return at
}

// Feed takes bytes that arrived at a time; zero where that is not known.
func (s *Stream) Feed(b []byte, at time.Time, emit func(Event)) {
	s.split.Feed(b, at, func(l Line) { s.take(l, emit) })
}

// Settle is to be called when nothing has come for a while: it ends a line whose
// terminator may have a second byte, and gives out a label whose value has not
// come. A line without any terminator goes on.
func (s *Stream) Settle(emit func(Event)) {
	s.split.Settle(func(l Line) { s.take(l, emit) })
	s.release(emit)
}

// Flush ends the input: a line that is under way ends without a terminator.
func (s *Stream) Flush(emit func(Event)) { s.flush("", emit) }

// Cut ends a line that is under way because nothing has come for long: its event's
// end is EndCut, and what comes after is a further line.
func (s *Stream) Cut(emit func(Event)) { s.flush(EndCut, emit) }

func (s *Stream) flush(end string, emit func(Event)) {
	s.split.Flush(end, func(l Line) { s.take(l, emit) })
	s.release(emit)
}

// Mark states a fact of the computer's own, such as that the port was opened. A
// line that is under way is cut: what comes after belongs to another connection.
func (s *Stream) Mark(kind Kind, at time.Time, fields map[string]string, emit func(Event)) {
	s.flush(EndCut, emit)
	s.lastUID = nil
	s.give(Event{
		First: at, Last: at, Kind: kind, Reader: NoReader,
		Fields: maps.Clone(fields), Offset: s.offset,
	}, emit)
}

// give numbers an event and hands it out.
func (s *Stream) give(e Event, emit func(Event)) {
	s.seq++
	e.Seq = s.seq
	if e.UID != nil && e.Lines[1] > 0 {
		s.lastUID, s.lastLine = e.UID, e.Lines[1]
	}
	emit(e)
}

// take makes events of a line.
func (s *Stream) take(l Line, emit func(Event)) {
	s.offset = l.Offset + int64(len(l.Raw))
	if l.End != EndCut {
		s.offset += int64(len(l.End))
	}
	s.line = l.Number
	if s.pending != nil && s.join(l, emit) {
		return
	}
	s.release(emit)
	e := Event{
		First: l.First, Last: l.Last, Reader: NoReader, Lines: [2]int{l.Number, l.Number},
		Offset: l.Offset, Raw: l.Raw, End: l.End,
	}
	slot := s.memo.slot(l.Raw)
	if slot.knows(l.Raw) {
		s.means(e, slot.is, emit)
		return
	}
	var broken error
	for _, p := range s.profiles {
		r, ok, err := p.read(l.Raw)
		if ok {
			is := meaning{profile: p, reading: r}
			slot.keep(l.Raw, is)
			s.means(e, is, emit)
			return
		}
		if broken == nil {
			broken = err
		}
	}
	for _, p := range s.profiles {
		at, ok := p.startAt(l.Raw)
		if !ok {
			at, ok = p.startBehindJunk(l.Raw)
		}
		if ok {
			s.start(e, at, p, emit)
			return
		}
	}
	e = unexplained(e, broken, s.memo.guesses)
	slot.keep(l.Raw, meaning{kind: e.Kind, fields: e.Fields, uid: e.UID})
	s.give(e, emit)
}

// means gives out a line by what it means.
func (s *Stream) means(e Event, is meaning, emit func(Event)) {
	if is.profile != nil {
		s.known(e, is.profile, is.reading, emit)
		return
	}
	e.Kind, e.Fields, e.UID = is.kind, is.fields, is.uid
	s.give(e, emit)
}

// known gives out a line that a wording matched, or keeps it where its value may
// come on the next one.
func (s *Stream) known(e Event, p *Profile, r reading, emit func(Event)) {
	explained := s.explain(e, p, r)
	if r.line != nil && r.line.next != nil && e.End != EndCut && e.End != "" {
		s.pending = &pendingLabel{event: explained, bare: r.bare, reading: r, profile: p}
		return
	}
	s.give(explained, emit)
}

// explain puts a reading into an event.
func (s *Stream) explain(e Event, p *Profile, r reading) Event {
	e.Kind, e.Fields, e.UID, e.Reader, e.Profile = r.kind, r.fields, r.uid, r.reader, p.name
	if r.line != nil && r.line.inherit && e.UID == nil && s.lastUID != nil && e.Lines[0]-s.lastLine <= tagWithin {
		e.Fields = maps.Clone(e.Fields)
		if e.Fields == nil {
			e.Fields = map[string]string{}
		}
		e.UID, e.Fields["uid"] = s.lastUID, s.lastUID.String()
	}
	return e
}

// join puts a value's line to its label, if it is one.
func (s *Stream) join(l Line, emit func(Event)) bool {
	label := s.pending
	next := label.reading.line.next
	r := label.reading
	r.fields = maps.Clone(r.fields)
	if !next.full.Match(latin1(l.Raw)) || r.take(next, l.Raw, r.line.form) != nil {
		return false
	}
	s.pending = nil
	e := label.event
	raw := make([]byte, 0, len(e.Raw)+len(e.End)+len(l.Raw))
	raw = append(append(append(raw, e.Raw...), e.End...), l.Raw...)
	e.Raw, e.End, e.Last, e.Lines[1] = raw, l.End, l.Last, l.Number
	s.give(s.explain(e, label.profile, r), emit)
	return true
}

// release gives out a label whose value did not come.
func (s *Stream) release(emit func(Event)) {
	label := s.pending
	if label == nil {
		return
	}
	s.pending = nil
	e := label.event
	if label.bare {
		e = unexplained(Event{
			First: e.First, Last: e.Last, Reader: NoReader, Lines: e.Lines,
			Offset: e.Offset, Raw: e.Raw, End: e.End,
		}, nil, s.memo.guesses)
	}
	s.give(e, emit)
}

// start gives out what stood before a start text and then the start.
func (s *Stream) start(e Event, at int, p *Profile, emit func(Event)) {
	r, ok, _ := p.read(e.Raw[at:])
	if !ok {
		s.give(unexplained(e, nil, s.memo.guesses), emit)
		return
	}
	before := e
	before.Raw, before.End = e.Raw[:at:at], ""
	before = unexplained(before, nil, s.memo.guesses)
	if junk(before.Raw) {
		before.Kind, before.Fields, before.UID = KindNoise, nil, nil
	}
	s.give(before, emit)
	e.Raw, e.Offset = e.Raw[at:], e.Offset+int64(at)
	s.known(e, p, r, emit)
}

// unexplained makes a line noise or unknown text with what it holds.
func unexplained(e Event, broken error, g guesses) Event {
	if isNoise(e.Raw) {
		e.Kind = KindNoise
		return e
	}
	e.Kind = KindUnknown
	e.Fields, e.UID = holds(e.Raw, g)
	if broken != nil {
		if e.Fields == nil {
			e.Fields = map[string]string{}
		}
		e.Fields["problem"] = fieldText([]byte(broken.Error()))
	}
	return e
}
