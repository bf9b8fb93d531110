package report

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"propwright/checklist"
)

// dayAndTime shows a time to the second; "not known" for the zero time.
func dayAndTime(t time.Time) string {
	if t.IsZero() {
		return "not known"
	}
	return t.UTC().Format("2 Jan 2006, 15:04:05 UTC")
}

// clockTime shows a time of day to the millisecond, as evidence needs it.
func clockTime(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return t.UTC().Format("15:04:05.000")
}

// span shows from when to when, the day once where it is one day.
func span(from, to time.Time) string {
	switch {
	case from.IsZero() && to.IsZero():
		return "time not known"
	case to.IsZero():
		return "from " + dayAndTime(from)
	case from.UTC().Format(time.DateOnly) == to.UTC().Format(time.DateOnly):
		return from.UTC().Format("2 Jan 2006, 15:04:05") + " to " + to.UTC().Format("15:04:05 UTC")
	default:
		return dayAndTime(from) + " to " + dayAndTime(to)
	}
}

// figure shows a quantity without its interval.
func figure(q checklist.Quantity) string {
	switch {
	case q.Text != "":
		return q.Text
	case q.Number != nil:
		return withUnit(number(*q.Number), q.Unit)
	default:
		return "–"
	}
}

// interval shows what bounds a figure; "" when nothing is known of that.
func interval(q checklist.Quantity) string {
	if q.Low == nil && q.High == nil {
		return ""
	}
	level := ""
	if q.Level > 0 {
		level = ", " + number(100*q.Level) + " %"
	}
	switch {
	case q.Low == nil:
		return withUnit("up to "+number(*q.High), q.Unit) + level + ", no lower bound"
	case q.High == nil:
		return withUnit("from "+number(*q.Low), q.Unit) + level + ", no upper bound"
	default:
		return withUnit(number(*q.Low)+" to "+number(*q.High), q.Unit) + level
	}
}

// number shows four significant digits and never an exponent for the sizes that
// occur here.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'g', 4, 64)
	if strings.Contains(s, "e") {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return s
}

func withUnit(figure, unit string) string {
	if unit == "" || unit == "1" {
		return figure
	}
	return figure + " " + unit
}

// seconds shows how long a step took.
func seconds(s float64) string {
	d := time.Duration(s * float64(time.Second))
	switch {
	case s < 0 || s > 1e7:
		return "–"
	case d < time.Minute:
		return fmt.Sprintf("%.1f s", s)
	default:
		return fmt.Sprintf("%d min %02d s", int(d.Minutes()), int(d.Seconds())%60)
	}
}

// VerifyLine is what to type in the bundle's folder to check the signature with
// the stock tool, without any program of ours.
func VerifyLine(m Model) string {
	return verifyLine(m.Signer.Principal, FileSignature, FileReport)
}

// EarlierLines are the like for the other sittings' own signed reports, which the
// bundle keeps beside this one.
func EarlierLines(m Model) []string {
	var lines []string
	for _, s := range m.Sittings {
		if s.Signed != nil && s.Sitting != m.Sitting {
			lines = append(lines, verifyLine(s.Signed.Principal, earlierName(s.Sitting, FileSignature), earlierName(s.Sitting, FileReport)))
		}
	}
	return lines
}

func verifyLine(principal, signature, signed string) string {
	return fmt.Sprintf("ssh-keygen -Y verify -f %s -I %s -n %s -s %s < %s", FileSigners, principal, Namespace, signature, signed)
}

// headline says the result in a few words, with what they cover.
func headline(m Model) (word, scope string) {
	word = string(m.Verdict)
	if m.Verdict == checklist.Skipped {
		word = "steps skipped"
	}
	scope = held(m)
	if !m.Complete {
		scope += fmt.Sprintf(" – %s of the procedure still open", steps(len(m.Open)))
	}
	return word, scope
}

// Summary is a report in one line.
func Summary(m Model) string {
	word, scope := headline(m)
	virtual := ""
	if m.Virtual {
		virtual = " · VIRTUAL"
	}
	return harmless(fmt.Sprintf("report %d · %s · %s · %s · %s%s", m.Number, m.Prop, m.Board.Asset, word, scope, virtual))
}
