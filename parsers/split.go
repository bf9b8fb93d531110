package parsers

import (
	"bytes"
	"time"
)

// MaxLine is how many bytes of text a line may have. What goes on beyond it is
// cut there and continues as a further line, so that a noisy console without
// terminators needs no more memory than this.
const MaxLine = 64 << 10

// A Line is one line of console text.
type Line struct {
	Number      int       // from 1
	Offset      int64     // of its first byte in the capture
	First, Last time.Time // arrival of the first and the last byte, terminator included
	Raw         []byte    // without the terminator
	End         string    // the terminator, "" at the end of the input, or EndCut
}

// A summedLine is a line and what cutting it off showed of it.
type summedLine struct {
	Line
	sum   sum  // of Raw where plain, else 0
	plain bool // Raw was seen to be printable ASCII; where it is false it may still be
}

// A Splitter cuts a stream of bytes into lines. The terminators are \r\n, \n, \r
// and \n\r; the lines do not depend on the pieces in which the bytes come. The
// zero value begins at line 1, offset 0; it is not safe for concurrent use.
//
// A \r waits for the byte after it, which may be its \n. A \n ends its line at
// once, for the boards that print nothing but \n are many and their last line
// must not lag. Only at the first \n of a stream, and after \n\r was seen, does it
// wait as well.
type Splitter struct {
	number int // of the last line given out
	offset int64
	line   Line
	held   byte      // '\r' or '\n' that may get company; 0 for none
	heldAt time.Time // its arrival
	begun  bool      // line has a first byte
	lone   loneLF
	whole  bool       // lines that lie in what is being fed are parts of it
	out    summedLine // given out last
}

// pieceShared is from which size on a piece is copied as a whole; the lines of
// smaller ones are copied each, so that one line kept does not hold on to many.
const pieceShared = 4096

// loneLF is what a stream has shown about the byte after a \n.
type loneLF int

const (
	lfUnsure loneLF = iota
	lfAlone
	lfWithCR
)

// SplitterAt returns a Splitter that goes on at an offset, with lines already
// given out.
func SplitterAt(offset int64, lines int) Splitter {
	return Splitter{offset: offset, number: lines}
}

// Feed takes bytes that arrived at a time and calls emit for each line that they
// finish. The line's Raw is the caller's to keep.
func (s *Splitter) Feed(b []byte, at time.Time, emit func(Line)) {
	share := len(b) >= pieceShared
	if share {
		b = bytes.Clone(b)
	}
	s.feed(b, at, share, func(l *summedLine) { emit(l.Line) })
}

// lend is Feed for lines that hold until emit returns and b as long: those that lie in
// it whole are parts of it.
func (s *Splitter) lend(b []byte, at time.Time, emit func(*summedLine)) {
	s.feed(b, at, true, emit)
	if s.begun && len(s.line.Raw) > 0 {
		s.line.Raw = append(make([]byte, 0, 2*len(s.line.Raw)), s.line.Raw...)
	}
}

// feed is Feed for lines that hold until emit returns. Where share is true, those that
// lie in b whole are parts of it, and so may be what comes before the end of the next.
func (s *Splitter) feed(b []byte, at time.Time, share bool, emit func(*summedLine)) {
	s.whole = share
	for len(b) > 0 {
		if s.held != 0 {
			if s.settle(b[0], at, emit) {
				b = b[1:]
			}
			continue
		}
		if !s.begun && s.whole {
			if n := s.usual(b, at); n > 0 {
				emit(&s.out)
				b = b[n:]
				continue
			}
		}
		n := textRun(b)
		if room := MaxLine - len(s.line.Raw); n > room {
			n = room
			if n == 0 {
				s.finish(EndCut, s.line.Last, emit)
				continue
			}
		}
		if n > 0 {
			s.begin(at)
			if len(s.line.Raw) == 0 && s.whole {
				s.line.Raw = b[:n:n]
			} else {
				s.line.Raw = append(s.line.Raw, b[:n]...)
			}
			s.line.Last = at
			b = b[n:]
			continue
		}
		s.begin(at)
		s.held, s.heldAt = b[0], at
		b = b[1:]
		if s.held == '\n' && s.lone == lfAlone {
			s.alone(emit)
		}
	}
}

// usual takes a line that lies in the bytes with a terminator about which there is no
// doubt; it returns how many bytes that took, 0 for none.
func (s *Splitter) usual(b []byte, at time.Time) int {
	n, of, plain := printable(b)
	end := "\r\n"
	switch {
	case plain && b[n] == '\r' && n+1 < len(b) && b[n+1] == '\n':
	case plain && b[n] == '\n' && s.lone == lfAlone:
		end = "\n"
	default:
		plain, of = false, 0
		if n = bytes.IndexByte(b, '\n') - 1; n < 0 || b[n] != '\r' {
			if s.lone != lfAlone || n < -1 {
				return 0
			}
			n, end = n+1, "\n"
		}
		if bytes.IndexByte(b[:n], '\r') >= 0 {
			return 0
		}
	}
	if n > MaxLine {
		return 0
	}
	s.number++
	o := &s.out
	o.Number, o.Offset, o.First, o.Last, o.Raw, o.End = s.number, s.offset, at, at, b[:n:n], end
	o.sum, o.plain = of, plain
	s.offset += int64(n + len(end))
	return n + len(end)
}

// settle decides about the held byte by the one that follows, and reports
// whether that one belongs to the terminator.
func (s *Splitter) settle(next byte, at time.Time, emit func(*summedLine)) bool {
	switch {
	case s.held == '\r' && next == '\n':
		s.held = 0
		s.finish("\r\n", at, emit)
		return true
	case s.held == '\n' && next == '\r':
		s.held, s.lone = 0, lfWithCR
		s.finish("\n\r", at, emit)
		return true
	case s.held == '\n' && s.lone == lfUnsure:
		s.lone = lfAlone
	}
	s.alone(emit)
	return false
}

// Settle ends a line whose terminator waits for company, without touching a line
// that has no terminator yet. Callers use it when nothing has come for a while.
func (s *Splitter) Settle(emit func(Line)) { s.alone(func(l *summedLine) { emit(l.Line) }) }

func (s *Splitter) alone(emit func(*summedLine)) {
	if s.held == 0 {
		return
	}
	end := string(s.held)
	s.held = 0
	s.finish(end, s.heldAt, emit)
}

// Flush ends the line that is under way, if there is one, with the given end: ""
// at the end of the input, EndCut where the text was cut off.
func (s *Splitter) Flush(end string, emit func(Line)) {
	s.flush(end, func(l *summedLine) { emit(l.Line) })
}

func (s *Splitter) flush(end string, emit func(*summedLine)) {
	s.alone(emit)
	if s.begun {
		s.finish(end, s.line.Last, emit)
	}
}

func (s *Splitter) begin(at time.Time) {
	if !s.begun {
		s.begun = true
		s.line = Line{Number: s.number + 1, Offset: s.offset, First: at, Last: at, Raw: noBytes}
	}
}

func (s *Splitter) finish(end string, at time.Time, emit func(*summedLine)) {
	s.out = summedLine{Line: s.line}
	s.out.End, s.out.Last = end, at
	s.number = s.out.Number
	s.offset += int64(len(s.out.Raw))
	if end != EndCut {
		s.offset += int64(len(end))
	}
	s.begun, s.line = false, Line{}
	emit(&s.out)
}

// noBytes is the text of an empty line.
var noBytes = []byte{}

// textRun is how many bytes stand before the first \r or \n.
func textRun(b []byte) int {
	n := bytes.IndexByte(b, '\n')
	if n < 0 {
		n = len(b)
	}
	if r := bytes.IndexByte(b[:n], '\r'); r >= 0 {
		return r
	}
	return n
}
