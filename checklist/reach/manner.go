package reach

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"propwright/checklist"
)

// The kinds of trial: a tag held still over the reader, and one swiped past it. What
// a reader makes of the one says little of the other.
const (
	approachHeld   = "held"
	approachSwiped = "swiped"
)

// longestHold bounds how long a tag is over the reader, and longestText what is said
// of its orientation.
const (
	longestHold = 30.0
	longestText = 80
)

// A manner is how the tag is brought to the reader in each presentation of a step.
// Trials of different manners are never counted together.
type manner struct {
	approach    string // approachHeld or approachSwiped
	hold        time.Duration
	orientation string
	cover       string // at the cover's spacing: coverOwn or coverEither
}

// mannerOf reads the manner of a step whose trials wait for a tag so long.
func mannerOf(s checklist.Step, coverMM float64, within time.Duration) (manner, error) {
	p := params{step: s}
	m := manner{approach: p.wordOr("approach", defaultApproach, approachSwiped)}
	m.cover = p.wordOr("cover_by", coverEither, coverOwn)
	if s.Sitting == checklist.Site || coverMM == 0 {
		m.cover = coverOwn
	}
	usual := defaultHold
	if m.approach == approachSwiped {
		usual = defaultSwipe
	}
	seconds := p.numberOr("hold", min(usual, within.Seconds()), 0.05, longestHold)
	m.hold = time.Duration(seconds * float64(time.Second))
	if m.hold > within {
		p.errs = append(p.errs, fmt.Errorf("step %q: parameter %q: %g s are longer than %q, in which the tag must be read", s.ID, "hold", seconds, "within"))
	}
	m.orientation = defaultOrientation
	if p.has("orientation") {
		text, err := s.Str("orientation")
		text = strings.TrimSpace(text)
		if err == nil && (text == "" || len(text) > longestText || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f })) {
			err = fmt.Errorf("step %q: parameter %q: must be a line of 1 to %d letters", s.ID, "orientation", longestText)
		}
		p.errs = append(p.errs, err)
		m.orientation = text
	}
	return m, p.err()
}

// record puts a manner into the conditions of a trial.
func (m manner) record(conditions map[string]string) {
	conditions["approach"], conditions["hold_s"], conditions["orientation"] = m.approach, seconds(m.hold), m.orientation
}

// made reports whether a trial was made in this manner. Trials from before approach
// and orientation went on record were held ones, turned as by default.
func (m manner) made(e checklist.Entry) bool {
	of := func(name, or string) string {
		if v, there := e.Measure.Params[name]; there {
			return v
		}
		return or
	}
	return of("approach", approachHeld) == m.approach && of("hold_s", "1") == seconds(m.hold) && of("orientation", defaultOrientation) == m.orientation
}

// ask is an instruction to present at a place in this manner.
func (m manner) ask(which, at string) string {
	turned := ""
	if m.orientation != defaultOrientation {
		turned = " Orientation: " + m.orientation + "."
	}
	if m.approach == approachSwiped {
		return fmt.Sprintf("Swipe the prop's own tag in its object past %s%s, evenly, about %s s over it.%s", which, at, seconds(m.hold), turned)
	}
	after := "a second"
	if m.hold != time.Second {
		after = seconds(m.hold) + " s"
	}
	return fmt.Sprintf("Show %s the prop's own tag in its object%s, and lift it after %s.%s", which, at, after, turned)
}

// String says what each presentation is.
func (m manner) String() string {
	text := "held still for " + seconds(m.hold) + " s"
	if m.approach == approachSwiped {
		text = "swiped past, about " + seconds(m.hold) + " s over the reader"
	}
	return text + "; orientation: " + m.orientation
}

// finding says what a presentation was, so that figures of a held tag are not taken
// for those of a swipe.
func (m manner) finding(rests []checklist.Ref) checklist.Finding {
	other := "a swipe"
	if m.approach == approachSwiped {
		other = "a tag held still"
	}
	return checklist.Finding{
		What: "presentation", How: checklist.Planned, Verdict: checklist.Passed, Value: checklist.Text(m.String()), Rests: rests,
		Note: "The prop's own tag in its object, as asked for in each presentation. The figures are not those of " + other + ", nor of another orientation.",
	}
}

// seconds prints a time so that equal ones print alike.
func seconds(d time.Duration) string { return strconv.FormatFloat(d.Seconds(), 'g', -1, 64) }
