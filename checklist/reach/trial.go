package reach

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

const (
	measureTrial = "trial"
	level        = 0.95 // of every bound in this package

	resultRead   = "read"
	resultMissed = "missed"

	// Changing spacers takes hands some seconds; the first presentation at another
	// spacing may take so much longer. From experience, no source.
	spacerTime = 10 * time.Second
)

// errOtherTag says that another tag than the prop's own was shown again and again.
var errOtherTag = errors.New("another tag was shown")

// trials presents the tag of the prop and counts, for one reader.
type trials struct {
	s            *checklist.Scene
	reader       checklist.Reader
	within, lift time.Duration
	last         float64 // spacing of the last presentation in this attempt
	plan         *plan   // of a range step, nil in others
	manner       manner
}

func newTrials(s *checklist.Scene, r checklist.Reader) (*trials, error) {
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	lift, err := s.Step.Seconds("lift")
	if err != nil {
		return nil, err
	}
	m, err := mannerOf(s.Step, s.Item.CoverMM, within)
	return &trials{s: s, reader: r, within: within, lift: lift, last: -1, manner: m}, err
}

// A count is what the presentations at one spacing came to.
type count struct {
	spacing      float64
	read, missed int
	entries      []checklist.Entry // the trials, as measured
}

func (c count) n() int        { return c.read + c.missed }
func (c count) all() bool     { return c.read > 0 && c.missed == 0 }
func (c count) none() bool    { return c.read == 0 && c.missed > 0 }
func (c count) share() string { return fmt.Sprintf("%d of %d", c.read, c.n()) }

// at counts the trials on record at a spacing, the first most of them; 0 is all.
func (t *trials) at(spacing float64, most int) count {
	c := count{spacing: spacing}
	want := millimetres(spacing)
	for _, e := range t.onRecord() {
		if e.Measure.Params["spacing_mm"] == want && (most <= 0 || c.n() < most) {
			c.add(e)
		}
	}
	return c
}

func (c *count) add(e checklist.Entry) {
	if e.Measure.Value == 1 {
		c.read++
	} else {
		c.missed++
	}
	c.entries = append(c.entries, e)
}

// onRecord are the reader's trials in the step's manner, in their order.
func (t *trials) onRecord() (own []checklist.Entry) {
	for _, e := range t.s.Measures(measureTrial) {
		if e.Measure.Reader == t.reader.Index && t.manner.made(e) {
			own = append(own, e)
		}
	}
	return own
}

// rungs are the counts of all spacings on record, by rising spacing.
func (t *trials) rungs() (rungs []count) {
	for _, e := range t.onRecord() {
		mm, ok := spacingOf(e)
		if !ok {
			continue
		}
		i, there := slices.BinarySearchFunc(rungs, mm, func(c count, mm float64) int { return cmp.Compare(c.spacing, mm) })
		if !there {
			rungs = slices.Insert(rungs, i, count{spacing: mm})
		}
		rungs[i].add(e)
	}
	return rungs
}

// spacingOf is the spacing of a trial.
func spacingOf(e checklist.Entry) (mm float64, ok bool) {
	mm, err := strconv.ParseFloat(e.Measure.Params["spacing_mm"], 64)
	return mm, err == nil
}

// until presents at a spacing until n trials are on record or enough says that
// no more are needed.
func (t *trials) until(ctx context.Context, spacing float64, n int, enough func(count) bool) (count, error) {
	for {
		c := t.at(spacing, n)
		if c.n() >= n || (enough != nil && c.n() > 0 && enough(c)) {
			return c, nil
		}
		if err := t.one(ctx, spacing, c.n()+1, n); err != nil {
			return c, err
		}
	}
}

// one presents the tag once and puts the result on record.
func (t *trials) one(ctx context.Context, spacing float64, number, of int) error {
	within := t.s.Patience(t.within)
	if spacing != t.last {
		within += spacerTime
	}
	t.last = spacing
	mark := t.s.Log.Len()
	c := t.s.Cursor()
	reply, read, err := t.s.Present(ctx, checklist.Presentation{
		Role: checklist.RoleShow, Act: checklist.ActPresent, SpacingMM: spacing, Hold: t.manner.hold, Reader: t.reader.Index, Within: within,
		// A refused tag was read as well.
		Kinds: []parsers.Kind{parsers.KindCardAccepted, parsers.KindTagPresent, parsers.KindCardRefused},
		Text:  fmt.Sprintf("%s (%d of %d)", t.text(spacing), number, of),
		Trial: measureTrial, Figure: fmt.Sprintf("%d/%d", number, of),
	})
	if err != nil {
		return err
	}
	m := checklist.Measure{
		Name: measureTrial, Unit: "1", Reader: t.reader.Index,
		Params: map[string]string{"spacing_mm": millimetres(spacing), "result": resultMissed},
	}
	t.manner.record(m.Params)
	if exact(spacing) == exact(t.s.Item.CoverMM) {
		m.Params["cover"] = t.manner.cover
	}
	switch {
	case read:
		m.Value, m.Params["result"], m.Rests = 1, resultRead, checklist.RefsOf(reply)
	case reply.N != 0:
		return errOtherTag
	default:
		m.Params["within_s"] = seconds(within)
		m.Rests = window(t.s.Log.Entries(mark))
	}
	if _, err := t.s.Measure(m); err != nil {
		return err
	}
	if !read {
		// The window left time to lift it.
		return t.s.Pause(ctx, max(0, t.manner.hold+t.lift-within))
	}
	return t.s.Lift(ctx, c, t.manner.hold+t.lift)
}

// window is the evidence of a miss: that the tag was asked for, and what the
// console said until the time was up.
func window(entries []checklist.Entry) []checklist.Ref {
	var seen []checklist.Entry
	for _, e := range entries {
		if e.Instruct != nil || (e.Event != nil && e.Event.Raw != nil) {
			seen = append(seen, e)
		}
	}
	return checklist.RefsOf(seen...)
}

// text tells the person how to present. Spacings count from the reader's face
// everywhere; in the room the cover is part of them.
func (t *trials) text(spacing float64) string {
	cover := t.s.Item.CoverMM
	at := ", touching its face"
	switch {
	case t.s.Step.Sitting == checklist.Site && spacing > cover:
		at = fmt.Sprintf(", over %s on the cover (%s mm from the reader's face, the cover's %s mm included)", t.spacers(spacing-cover), millimetres(spacing), millimetres(cover))
	case t.s.Step.Sitting == checklist.Site:
		at = fmt.Sprintf(", on the cover (%s mm from the reader's face)", millimetres(spacing))
	case spacing > 0 && exact(spacing) == exact(cover) && t.manner.cover == coverOwn:
		at = fmt.Sprintf(", over its own cover (%s mm)", millimetres(cover))
	case spacing > 0 && exact(spacing) == exact(cover):
		at = fmt.Sprintf(", over its cover or spacers of %s mm", millimetres(spacing))
		if t.plan != nil {
			if s := Nearest(t.plan.stacks, spacing); s.MM > 0 {
				at += fmt.Sprintf(" (%s are %s mm)", s, millimetres(s.MM))
			}
		}
	case spacing > 0:
		at = ", over " + t.spacers(spacing)
	}
	which := "the reader"
	if len(t.s.Item.Readers) > 1 {
		which = fmt.Sprintf("reader %d", t.reader.Index)
	}
	return t.manner.ask(which, at)
}

// spacers says what makes a spacing.
func (t *trials) spacers(mm float64) string {
	if t.plan != nil {
		if s := Nearest(t.plan.stacks, mm); s.MM > 0 && exact(s.MM) == exact(mm) {
			return fmt.Sprintf("%s (%s mm)", s, millimetres(s.MM))
		}
	}
	return fmt.Sprintf("spacers of %s mm", millimetres(mm))
}

// readersOf are those that the step is about: its own where it is each reader's.
func readersOf(s *checklist.Scene) []checklist.Reader {
	if s.Step.EachReader != "" {
		return []checklist.Reader{s.Reader()}
	}
	return readers(s.Item)
}

// readers are those of the item, one where the plan lists none.
func readers(it checklist.Item) []checklist.Reader {
	if len(it.Readers) == 0 {
		return []checklist.Reader{{}}
	}
	return it.Readers
}

// exact is a spacing to a thousandth of a millimetre, so that equal ones are equal.
func exact(mm float64) float64 { return math.Round(mm*1000) / 1000 }

// millimetres prints a spacing so that equal spacings print alike.
func millimetres(v float64) string { return strconv.FormatFloat(exact(v), 'f', -1, 64) }

// tenths prints an estimate, which no stack of spacers makes better than that.
func tenths(mm float64) string {
	if math.Abs(mm) < 0.05 {
		return "0.0"
	}
	return strconv.FormatFloat(mm, 'f', 1, 64)
}

// percent prints a share for people, to three digits.
func percent(v float64) string { return strconv.FormatFloat(100*v, 'g', 3, 64) + " %" }

func ptr[T any](v T) *T { return &v }

func otherTag() checklist.Finding {
	return checklist.Finding{
		What: "the prop's own tag", How: checklist.Measured, Verdict: checklist.NotConfirmed, Value: checklist.Text("another tag was shown, three times"),
		Note: "Only the prop's own tag in its object can tell how far that is read.",
	}
}

// eachReader does the trials of each reader of the board and joins what was found;
// a reader that was shown another tag than asked for is one finding.
func eachReader(s *checklist.Scene, do func(*trials) ([]checklist.Finding, error)) ([]checklist.Finding, error) {
	var findings []checklist.Finding
	for _, r := range readersOf(s) {
		t, err := newTrials(s, r)
		if err != nil {
			return nil, err
		}
		found, err := do(t)
		for errors.Is(err, checklist.ErrVoided) {
			// What is on record is counted anew, and what is missing asked for again.
			found, err = do(t)
		}
		if errors.Is(err, errOtherTag) {
			findings = append(findings, otherTag())
			continue
		}
		if err != nil {
			return nil, err
		}
		for i := range found {
			found[i].Reader = r.Index
		}
		findings = append(findings, found...)
	}
	return findings, nil
}
