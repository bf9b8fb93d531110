package parsers

import (
	"bytes"
	"time"
)

// A Position is where a capture stands: what the next event continues.
type Position struct {
	Offset int64  // bytes so far
	Seq    uint64 // events so far
	Line   int    // lines so far
}

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
	fresh   beginning
	begins  beginnings
	memo    memo[sense]
	event   Event    // given out last
	recent  *namings // nil where no wording asks for the tag named before
}

// streamRemembers is how many lines a stream remembers.
const streamRemembers = 1 << 12

// sense is what a line comes to that is whole: its wording, nil where nothing explains
// it, and the reader that it names.
type sense struct {
	said   *saying
	reader int
}

// pendingLabel is a line whose value may come on the next one.
type pendingLabel struct {
	event   Event // as it would be on its own
	reading reading
	rows    []summedLine // of a value that stands a byte a line, as far as it has come
}

// NewStream makes a Stream that begins a capture. Where several profiles are
// given, the first that knows a line decides about it.
func NewStream(profiles ...*Profile) *Stream { return StreamAt(Position{}, profiles...) }

// StreamAt makes a Stream that goes on with a capture at a position.
func StreamAt(at Position, profiles ...*Profile) *Stream {
	s := &Stream{
		profiles: profiles,
		memo:     memo[sense]{lines: streamRemembers},
		split:    SplitterAt(at.Offset, at.Line),
		offset:   at.Offset, seq: at.Seq, line: at.Line,
	}
	for _, p := range profiles {
		if p.inherits && s.recent == nil {
			s.recent = &namings{}
		}
		s.begins.add(p)
	}
	return s
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
	give := each(emit)
	share := len(b) >= pieceShared
	if share {
		b = bytes.Clone(b)
	}
	s.split.feed(b, at, share, func(l *summedLine) { s.take(l, give) })
}

// Lend is Feed without copies: an event is only emit's to look at, and its text as long
// as b stays as it is. Whoever keeps an event copies it, and keeps b.
func (s *Stream) Lend(b []byte, at time.Time, emit func(*Event)) {
	s.split.lend(b, at, func(l *summedLine) { s.take(l, emit) })
	if s.recent != nil {
		s.recent.keep()
	}
	if s.pending != nil {
		s.pending.event.Raw = bytes.Clone(s.pending.event.Raw)
	}
}

// each hands out events as values.
func each(emit func(Event)) func(*Event) { return func(e *Event) { emit(*e) } }

// Settle is to be called when nothing has come for a while: it ends a line whose
// terminator may have a second byte, and gives out a label whose value has not
// come. A line without any terminator goes on.
func (s *Stream) Settle(emit func(Event)) {
	give := each(emit)
	s.split.alone(func(l *summedLine) { s.take(l, give) })
	s.release(give)
}

// Flush ends the input: a line that is under way ends without a terminator.
func (s *Stream) Flush(emit func(Event)) { s.flush("", each(emit)) }

// Cut ends a line that is under way because nothing has come for long: its event's
// end is EndCut, and what comes after is a further line.
func (s *Stream) Cut(emit func(Event)) { s.flush(EndCut, each(emit)) }

func (s *Stream) flush(end string, emit func(*Event)) {
	s.split.flush(end, func(l *summedLine) { s.take(l, emit) })
	s.release(emit)
}

// Mark states a fact of the computer's own, such as that the port was opened. A
// line that is under way is cut: what comes after belongs to another connection.
func (s *Stream) Mark(kind Kind, at time.Time, fields map[string]string, emit func(Event)) {
	give := each(emit)
	s.flush(EndCut, give)
	if s.recent != nil {
		*s.recent = namings{}
	}
	if kind == KindAttached || kind == KindGap {
		s.fresh = beginning{s.offset, at}
	}
	e := Event{
		First: at, Last: at, Kind: kind, Reader: NoReader,
		Offset: s.offset, told: &told{fields: fieldsOf(fields)},
	}
	s.give(&e, give)
}

// give numbers an event and hands it out.
func (s *Stream) give(e *Event, emit func(*Event)) {
	s.seq++
	e.Seq = s.seq
	switch {
	case e.Kind == KindBoot:
		s.fresh = beginning{e.Offset, e.First}
	case e.Kind == KindNoise && s.fresh.covers(e):
		e.told = noiseAtStart
	}
	if s.recent != nil {
		s.recent.note(e)
	}
	emit(e)
}

// take makes events of a line.
func (s *Stream) take(l *summedLine, emit func(*Event)) {
	s.offset = l.Offset + int64(len(l.Raw))
	if l.End != EndCut {
		s.offset += int64(len(l.End))
	}
	s.line = l.Number
	if s.pending != nil {
		if s.join(l, emit) {
			return
		}
		s.release(emit)
		if s.pending != nil { // one of its own rows begins another
			s.release(emit)
		}
	}
	e := &s.event
	e.First, e.Last, e.Lines[0], e.Lines[1] = l.First, l.Last, l.Number, l.Number
	e.Offset, e.Raw, e.End, e.sum, e.told = l.Offset, l.Raw, l.End, l.sum, nil
	of := l.sum
	if !l.plain {
		of = sumOf(l.Raw)
	}
	slot := s.memo.slot(of)
	if slot.knows(of, l.Raw) {
		s.settled(e, slot.is.said, slot.is.reader, emit)
		return
	}
	e.Kind, e.Reader, e.Profile, e.said = "", NoReader, "", nil
	var broken error
	for _, p := range s.profiles {
		said, reader, more := p.sure(l.Raw)
		if said != nil {
			if is := slot.keep(of, l.Raw); is != nil {
				*is = sense{said, reader}
			}
			s.settled(e, said, reader, emit)
			return
		}
		if !more {
			continue
		}
		r, ok, err := p.read(l.Raw)
		if ok {
			s.known(e, p, &r, emit)
			return
		}
		if broken == nil {
			broken = err
		}
	}
	plain := l.plain || plainText(l.Raw)
	if !plain || s.begins.within(l.Raw) {
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
	}
	if plain && broken == nil {
		if is := slot.keep(of, l.Raw); is != nil {
			*is = sense{nil, NoReader}
		}
		s.settled(e, nil, NoReader, emit)
		return
	}
	unexplained(e, broken)
	s.give(e, emit)
}

// settled gives out a line that a wording says and whose values are whole, or without
// one a line of unknown text.
func (s *Stream) settled(e *Event, said *saying, reader int, emit func(*Event)) {
	if said != nil {
		e.Kind, e.Reader, e.Profile, e.said = said.kind, reader, said.name, said
	} else {
		e.Kind, e.Reader, e.Profile, e.said = KindUnknown, NoReader, "", nil
	}
	s.give(e, emit)
}

// known gives out a line that a wording matched, or keeps it where its value may
// come on the next one.
func (s *Stream) known(e *Event, p *Profile, r *reading, emit func(*Event)) {
	s.explain(e, p, r)
	if r.said != nil && r.said.line.next != nil && e.End != EndCut && e.End != "" {
		s.pending = &pendingLabel{event: *e, reading: *r}
		return
	}
	s.give(e, emit)
}

// explain puts a reading into an event.
func (s *Stream) explain(e *Event, p *Profile, r *reading) {
	e.Kind, e.Reader, e.Profile = r.kind, r.reader, p.name
	is := told{fields: r.fields, uid: r.uid}
	if r.said != nil && r.said.line.inherit && r.uid == nil && s.recent != nil {
		if u := s.recent.before(e.Lines[0]); u != nil {
			is.uid, is.fields = u, is.fields.with("uid", u.String())
		}
	}
	e.told = &is
}

// join puts a value's line to its label, if it is one.
func (s *Stream) join(l *summedLine, emit func(*Event)) bool {
	if s.pending.reading.said.line.rows {
		return s.pending.row(l)
	}
	return s.joined(l.Raw, []summedLine{*l}, emit)
}

// joined gives out the label with the lines of its value, if value is what it is to be.
func (s *Stream) joined(value []byte, lines []summedLine, emit func(*Event)) bool {
	label := s.pending
	line := label.reading.said.line
	r := label.reading
	r.fields = r.fields[:len(r.fields):len(r.fields)]
	if !line.next.full().Match(latin1(value)) || r.take(line.next, value, line.form) != nil {
		return false
	}
	s.pending = nil
	e := label.event
	raw, end := append(make([]byte, 0, len(e.Raw)+len(e.End)+len(value)), e.Raw...), e.End
	for _, l := range lines {
		raw = append(append(raw, end...), l.Raw...)
		end = l.End
	}
	last := lines[len(lines)-1]
	e.Raw, e.End, e.Last, e.Lines[1], e.sum = raw, end, last.Last, last.Number, 0
	s.explain(&e, r.said.profile, &r)
	s.give(&e, emit)
	return true
}

// release gives out a label whose value did not come.
func (s *Stream) release(emit func(*Event)) {
	label := s.pending
	if label == nil || len(label.rows) > 0 && s.joined(label.value(), label.rows, emit) {
		return
	}
	s.pending = nil
	e := label.event
	if label.reading.bare {
		e = Event{
			First: e.First, Last: e.Last, Reader: NoReader, Lines: e.Lines,
			Offset: e.Offset, Raw: e.Raw, End: e.End,
		}
		unexplained(&e, nil)
	}
	s.give(&e, emit)
	offset, line := s.offset, s.line
	for i := range label.rows { // no value, so lines as any
		s.take(&label.rows[i], emit)
	}
	s.offset, s.line = offset, line
}

// start gives out what stood before a start text and then the start.
func (s *Stream) start(e *Event, at int, p *Profile, emit func(*Event)) {
	r, ok, _ := p.read(e.Raw[at:])
	if !ok {
		unexplained(e, nil)
		s.give(e, emit)
		return
	}
	before := *e
	before.Raw, before.End, before.sum = e.Raw[:at:at], "", 0
	if before.Kind = KindNoise; !junk(before.Raw) {
		unexplained(&before, nil)
	}
	s.give(&before, emit)
	e.Raw, e.Offset, e.sum = e.Raw[at:], e.Offset+int64(at), 0
	s.known(e, p, &r, emit)
}

// unexplained makes a line noise or unknown text.
func unexplained(e *Event, broken error) {
	if isNoise(e.Raw) {
		e.Kind = KindNoise
		return
	}
	e.Kind = KindUnknown
	if broken != nil {
		is := holds(e.Raw)
		is.fields = is.fields.with("problem", fieldText([]byte(broken.Error())))
		e.told = &is
	}
}
