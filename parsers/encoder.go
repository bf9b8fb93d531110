package parsers

import (
	"strconv"
)

// An EventEncoder writes many events as JSON, as Event.AppendJSON does each. It
// remembers what the lines last written came to, for consoles repeat themselves. The
// zero value is ready to use; it is not safe for concurrent use.
type EventEncoder struct {
	memo   memo[inWords]
	shapes memo[[]byte] // by their lines with all digits alike
	once   inWords      // of the last line that is not remembered
	alike  []byte
	seq    counter
	line   counter
}

// A counter writes numbers that mostly are one more than the one before.
type counter struct {
	last   uint64
	digits []byte // of it; nil before the first
}

// append appends n in decimal.
func (c *counter) append(b []byte, n uint64) []byte {
	if c.digits == nil || n != c.last+1 {
		c.digits = strconv.AppendUint(c.digits[:0], n, 10)
	} else {
		i := len(c.digits) - 1
		for ; i >= 0 && c.digits[i] == '9'; i-- {
			c.digits[i] = '0'
		}
		if i < 0 {
			c.digits = append(c.digits, '0')
			c.digits[0] = '1'
		} else {
			c.digits[i]++
		}
	}
	c.last = n
	return append(b, c.digits...)
}

// How many lines an encoder remembers, and how many shapes of unknown ones.
const (
	encoderRemembers = 1 << 11
	encoderShapes    = 1 << 9
)

// inWords is what of an event depends on nothing but its text and its wording.
type inWords struct {
	said *saying
	head []byte // times where they are not known, kind, reader and fields, up to the number of its line
	tail []byte // raw, and what stands behind it where the line ends as most do
	raw  int    // bytes of it that are raw
}

// usualEnd is how most lines end.
const usualEnd = "\r\n"

// noTimes are the times of an event without any.
const noTimes = `,"first":null,"last":null`

// Append appends an event.
func (c *EventEncoder) Append(b []byte, e *Event) ([]byte, error) {
	if e.told != nil || len(e.Raw) > memoLine || e.said == nil && e.Kind != KindUnknown || e.Lines[0] != e.Lines[1] || e.Lines[0] < 0 {
		return e.AppendJSON(b)
	}
	b = c.seq.append(append(b, `{"seq":`...), e.Seq)
	is := c.inWords(e)
	if e.First.IsZero() && e.Last.IsZero() {
		b = append(b, is.head...)
	} else {
		var err error
		if b, err = e.appendTimes(b); err != nil {
			return nil, err
		}
		b = append(b, is.head[len(noTimes):]...)
	}
	b = c.line.append(b, uint64(e.Lines[0]))
	b = append(append(append(b, ','), c.line.digits...), `],"offset":`...)
	b = strconv.AppendInt(b, e.Offset, 10)
	if e.End == usualEnd {
		return append(b, is.tail...), nil
	}
	return e.appendEnd(append(b, is.tail[:is.raw]...)), nil
}

// inWords puts an event into words, or remembers them.
func (c *EventEncoder) inWords(e *Event) *inWords {
	of := e.sum
	if of == 0 {
		of = sumOf(e.Raw)
	}
	c.memo.lines = encoderRemembers
	slot := c.memo.slot(of)
	if slot.knows(of, e.Raw) && slot.is.said == e.said {
		return &slot.is
	}
	is := slot.keep(of, e.Raw)
	if is == nil {
		is = &c.once
	}
	is.said = e.said
	is.head = append(c.meaning(append(is.head[:0], noTimes...), e), `,"lines":[`...)
	is.tail = e.appendRaw(is.tail[:0])
	is.raw = len(is.tail)
	is.tail = appendEndOf(is.tail, usualEnd, e.Profile)
	return is
}

// meaning appends kind, reader and fields. Lines that differ in digits alone mostly
// hold the same where nobody taught what they say.
func (c *EventEncoder) meaning(b []byte, e *Event) []byte {
	if e.said != nil || !plainText(e.Raw) {
		return e.appendMeaning(b)
	}
	var of sum
	c.alike, of = digitsAlike(c.alike, e.Raw)
	c.shapes.lines = encoderShapes
	slot := c.shapes.slot(of)
	if slot.knows(of, c.alike) {
		return append(b, slot.is...)
	}
	is, alike := holdsAlike(e.Raw)
	from := len(b)
	b = e.appendMeaningOf(b, &is)
	if alike {
		if kept := slot.keep(of, c.alike); kept != nil {
			*kept = append((*kept)[:0], b[from:]...)
		}
	}
	return b
}
