package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"propwright/parsers"
)

// shapesShown is how many shapes of unknown lines a summary names.
const shapesShown = 5

// An eventSummary takes events and says at the end what they are as a whole.
type eventSummary struct {
	out     io.Writer
	filter  eventFilter
	kinds   map[parsers.Kind]int
	events  int
	lines   int
	anatomy parsers.Anatomy
	learner parsers.Learner
	from    time.Time
	to      time.Time
	closed  bool
	err     error
}

// A besideSummary takes events beside the reading of them.
type besideSummary struct {
	*besidePrinter
	summary *eventSummary
}

func summarizeBeside(out io.Writer, filter eventFilter) besideSummary {
	s := &eventSummary{out: out, filter: filter, kinds: map[parsers.Kind]int{}}
	return besideSummary{workBeside(io.Discard, s.take), s}
}

// close prints the summary, once.
func (b besideSummary) close() error {
	if err := b.besidePrinter.close(); err != nil {
		return err
	}
	return b.summary.close()
}

// take is the eventWork of a summary, which is no text yet.
func (s *eventSummary) take(b []byte, e *parsers.Event) ([]byte, error) {
	s.note(e)
	return b, nil
}

func (s *eventSummary) note(e *parsers.Event) {
	if !s.filter.shows(e) {
		return
	}
	s.events++
	s.kinds[e.Kind]++
	if e.Lines[1] > 0 {
		s.lines += e.Lines[1] - e.Lines[0] + 1
	}
	if !e.First.IsZero() {
		if s.from.IsZero() {
			s.from = e.First
		}
		s.to = e.Last
	}
	s.anatomy.Look(e)
	s.learner.Look(e)
}

// close prints the summary, once.
func (s *eventSummary) close() error {
	if s.closed {
		return s.err
	}
	s.closed = true
	var b strings.Builder
	row := func(name, format string, args ...any) {
		fmt.Fprintf(&b, "%-9s "+format+"\n", append([]any{name}, args...)...)
	}
	when := ""
	if !s.from.IsZero() {
		when = fmt.Sprintf(", %s to %s", s.from.UTC().Format("2006-01-02 15:04:05 UTC"), s.to.UTC().Format("2006-01-02 15:04:05 UTC"))
	}
	row("text", "%d lines, %d events%s", s.lines, s.events, when)
	s.starts(row)
	if d, after := s.anatomy.Silence(); d >= time.Second {
		row("silence", "%s at the longest, after %q", seconds(d), parsers.Printable(after))
	}
	var kinds []string
	for _, k := range slices.SortedFunc(maps.Keys(s.kinds), func(a, b parsers.Kind) int {
		return cmp.Or(cmp.Compare(s.kinds[b], s.kinds[a]), cmp.Compare(a, b))
	}) {
		kinds = append(kinds, fmt.Sprintf("%s %d", k, s.kinds[k]))
	}
	row("kinds", "%s", strings.Join(kinds, ", "))
	shapes := s.learner.Shapes()
	for i, shape := range shapes {
		if i == shapesShown {
			row("", "and %d shapes more; wording learn shows them all", len(shapes)-i)
			break
		}
		likely := ""
		if shape.Kind != "" {
			likely = fmt.Sprintf(" (perhaps %s, sure %.2f)", shape.Kind, shape.Sure)
		}
		row("unknown", "%s: %s%s", shape.Times(), parsers.Printable(shape.Says), likely)
	}
	if n := s.learner.Rare(); n > 0 {
		row("", "and %d lines, each of a shape that hardly came again", n)
	}
	if _, err := io.WriteString(s.out, b.String()); err != nil {
		s.err = fmt.Errorf("%w: %w", errPipeClosed, err)
	}
	return s.err
}

// starts says how often the board started, and whether that is a loop.
func (s *eventSummary) starts(row func(name, format string, args ...any)) {
	a := &s.anatomy
	var causes []string
	for _, cause := range slices.Sorted(maps.Keys(a.Causes)) {
		causes = append(causes, fmt.Sprintf("%s %d", parsers.Printable(cause), a.Causes[cause]))
	}
	told := ""
	if len(causes) > 0 {
		told = ", told as " + strings.Join(causes, ", ")
	}
	row("starts", "%d%s", a.Starts, told)
	if a.MidLine > 0 {
		row("", "%d of them in the middle of a line", a.MidLine)
	}
	if a.Junk > 0 {
		row("", "%d of them behind bytes that are no text, as a boot loader at another speed prints", a.Junk)
	}
	loop, is := a.Loop()
	if !is {
		return
	}
	row("loop", "%s: starts every %s (%s to %s)", loop.Name, seconds(loop.Median), seconds(loop.Least), seconds(loop.Most))
	if loop.Line != "" {
		row("", "%d of %d times after %q", loop.Times, a.Starts-1, parsers.Printable(loop.Line))
	}
}

// seconds prints a time for people.
func seconds(d time.Duration) string { return fmt.Sprintf("%.1f s", d.Seconds()) }
