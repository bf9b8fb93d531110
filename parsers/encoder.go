package parsers

import (
	"strconv"
)

// An EventEncoder writes many events as JSON, as Event.AppendJSON does each. It
// remembers what the lines last written came to, for consoles repeat themselves. The
// zero value is ready to use; it is not safe for concurrent use.
type EventEncoder struct {
	memo memo[inWords]
	seq  counter
	line counter
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

// encoderRemembers is how many lines an encoder remembers.
const encoderRemembers = 1 << 11

// inWords is what of an event depends on nothing but its text and its wording.
type inWords struct {
	said    *saying
	meaning []byte // kind, reader and fields
	text    []byte // raw as JSON
}

// Append appends an event.
func (c *EventEncoder) Append(b []byte, e *Event) ([]byte, error) {
	if e.told != nil || len(e.Raw) > memoLine || e.said == nil && e.Kind != KindUnknown {
		return e.AppendJSON(b)
	}
	c.memo.lines = encoderRemembers
	b = c.seq.append(append(b, `{"seq":`...), e.Seq)
	b, err := e.appendTimes(b)
	if err != nil {
		return nil, err
	}
	slot := c.memo.slot(e.Raw)
	is := &slot.is
	if !slot.knows(e.Raw) || is.said != e.said {
		is = slot.keep(e.Raw)
		is.said, is.meaning, is.text = e.said, e.appendMeaning(is.meaning[:0]), e.appendRaw(is.text[:0])
	}
	b = append(b, is.meaning...)
	if e.Lines[0] == e.Lines[1] && e.Lines[0] >= 0 {
		b = c.line.append(append(b, `,"lines":[`...), uint64(e.Lines[0]))
		b = append(append(append(b, ','), c.line.digits...), `],"offset":`...)
		b = strconv.AppendInt(b, e.Offset, 10)
	} else {
		b = e.appendLines(b)
	}
	b = append(b, is.text...)
	return e.appendEnd(b), nil
}
