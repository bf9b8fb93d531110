package diagnose

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"propwright/parsers"
)

// A Reading is what a console's text, or what else was written down, comes to. It
// takes events in their order; the zero value is not usable, see NewReading.
type Reading struct {
	k       *Knowledge
	lines   []line
	dropped int
	bytes   int64
	noise   int64
	known   int // lines that a wording knows
	any     int // lines with text
	anatomy parsers.Anatomy
	grows   bool // the list grows tag by tag beyond what it can hold
	// arrivals takes times from when lines came in, not from what they begin with; began is
	// when the first did.
	arrivals bool
	began    time.Time
	gathered
}

// NewReading begins a reading.
func (k *Knowledge) NewReading() *Reading { return &Reading{k: k} }

// Take looks at the next event.
func (r *Reading) Take(e parsers.Event) {
	r.anatomy.Take(e)
	r.bytes += e.Size()
	if e.Kind == parsers.KindNoise {
		r.noise += e.Size()
	}
	l, ok := newLine(e)
	if !ok {
		return
	}
	if r.arrivals {
		if r.began.IsZero() {
			r.began = e.First
		}
		l.at = e.First.Sub(r.began).Seconds()
	}
	r.any++
	if e.Kind != parsers.KindUnknown && !e.Kind.Host() {
		r.known++
	}
	if len(r.lines) == maxLines {
		// The middle is given up: how it began and how it ends tells most.
		copy(r.lines[maxLines/2:], r.lines[maxLines/2+1:])
		r.lines = r.lines[:maxLines-1]
		r.dropped++
	}
	r.lines = append(r.lines, l)
}

// Unfamiliar reports whether there is board text of which no wording knows a line and
// hardly a guess can be made.
func (r *Reading) Unfamiliar() bool {
	guessed, board := 0, 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark || l.host || l.noise {
			continue
		}
		board++
		if l.kind != parsers.KindUnknown {
			guessed++
		}
	}
	return board >= 3 && r.known == 0 && guessed*6 < board
}

// Lines is how many lines with text were read.
func (r *Reading) Lines() int { return r.any }

// ReadText reads a recorded text to its end.
func (k *Knowledge) ReadText(in io.Reader, profiles ...*parsers.Profile) (*Reading, error) {
	r := k.NewReading()
	stream := parsers.NewStream(profiles...)
	buf := make([]byte, 32<<10)
	for {
		n, err := in.Read(buf)
		stream.Feed(buf[:n], time.Time{}, r.Take)
		if err == io.EOF {
			stream.Flush(r.Take)
			return r, nil
		}
		if err != nil {
			return nil, fmt.Errorf("read text: %w", err)
		}
	}
}

// gathered is what detectors find.
type gathered struct{ found []Evidence }

// add notes a finding's value; unknown ids are a site's that has left ours out.
func (r *Reading) add(finding, value string, rank int, l *line) {
	f := r.k.Finding(finding)
	if f < 0 {
		return
	}
	v := r.k.Findings[f].Value(value)
	if v < 0 {
		return
	}
	e := Evidence{Observation: Observation{f, v}, From: FromConsole, rank: rank}
	if l != nil {
		e.Line, e.Text = l.n, l.text
		if l.remark {
			e.From = FromRemark
		}
	}
	r.found = append(r.found, e)
}

func (r *Reading) count(finding, value string, l *line) { r.add(finding, value, rankCount, l) }

// Evidence is what the text shows, a finding once.
func (r *Reading) Evidence() []Evidence {
	r.found = nil
	r.markStarts()
	for _, detect := range []func(){
		r.detectText, r.detectStarts, r.detectCold, r.detectVersion, r.detectTags, r.detectUIDs, r.detectRest, r.detectLists,
		r.detectNetwork, r.detectModbus, r.detectHost, r.detectLamp, r.detectNumbers, r.detectWords, r.detectHeld, r.detectDeeds,
	} {
		detect()
	}
	return Merge(r.found)
}

// number is a field as a number.
func number(text string) (int, bool) {
	n, err := strconv.Atoi(strings.TrimSpace(text))
	return n, err == nil
}
