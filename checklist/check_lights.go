package checklist

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"propwright/parsers"
)

// checkLights has the lamps looked at in two states, by position and blink: one
// lamp wrong is a wire, all of them the other way round is the polarity.
func checkLights(ctx context.Context, s *Scene) ([]Finding, error) {
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	idle, err := s.lampsPlanned("idle")
	if err != nil {
		return nil, err
	}
	accepted, err := s.lampsPlanned("accepted")
	if err != nil {
		return nil, err
	}
	if len(s.Item.Board.Lamps) == 0 {
		return []Finding{{What: "lamps", How: Planned, Verdict: NotConfirmed, Value: Text("no lamps planned"), Note: "The plan names no lamps for this board."}}, nil
	}
	// What the step before has lit goes out, and an eye takes in a lamp that may blink.
	if err := s.Observe(ctx, "lamps looked at", s.Cursor(), lampPause, nil); err != nil {
		return nil, err
	}
	if err := s.Instruct(ctx, Instruction{Act: ActLook, Text: "Look at the lamps now and keep in mind which are lit; then lay the prop's own tag on " + s.which(s.Reader().Index) + " and look again."}); err != nil {
		return nil, err
	}
	c := s.Cursor()
	e, ok, err := s.Present(ctx, Presentation{Role: RoleShow, Act: ActPlace, Within: within, Kinds: []parsers.Kind{parsers.KindCardAccepted}, Text: "Lay the prop's own tag on " + s.which(s.Reader().Index) + " and leave it there."})
	if err != nil {
		return nil, err
	}
	if !ok {
		return []Finding{{What: "lamps with an accepted tag", How: Measured, Verdict: NotConfirmed, Value: Text("no tag accepted"), Rests: RefsOf(s.Earlier()...)}}, nil
	}
	if err := s.Observe(ctx, "lamps looked at", s.Cursor(), lampPause, nil); err != nil {
		return nil, err
	}
	answer, err := s.Ask(ctx, Question{
		Key: "lamps", Kind: AskLamps, Form: "BEFORE / NOW, such as 1 3 / 2b or none / 3; b after one that blinks",
		Text: fmt.Sprintf("Which lamps were lit before, and which are lit now? Count from the left, 1 to %d.", len(s.Item.Board.Lamps)),
	})
	if err != nil {
		return nil, err
	}
	if err := s.Instruct(ctx, Instruction{Act: ActTake, Role: RoleShow, Reader: s.Reader().Index, Text: "Lift the tag."}); err != nil {
		return nil, err
	}
	if err := s.Lift(ctx, c, lampPause); err != nil {
		return nil, err
	}
	return s.judgeLamps(answer, e, idle, accepted), nil
}

// lampPause lets an eye take in a lamp that may blink.
const lampPause = 3 * time.Second

// lampsPlanned turns lamp names of the procedure into positions from the left.
func (s *Scene) lampsPlanned(param string) (Lamps, error) {
	names, err := s.Step.Str(param)
	if err != nil {
		return nil, err
	}
	planned := Lamps{}
	for _, name := range strings.Fields(names) {
		blinks := strings.HasSuffix(name, "*")
		i := slices.Index(s.Item.Board.Lamps, strings.TrimSuffix(name, "*"))
		if i < 0 && len(s.Item.Board.Lamps) > 0 {
			return nil, fmt.Errorf("step %q: parameter %q: the board has no lamp %q, it has %v", s.Step.ID, param, name, s.Item.Board.Lamps)
		}
		planned[i+1] = blinks
	}
	return planned, nil
}

func (s *Scene) judgeLamps(answer, tag Entry, idle, accepted Lamps) []Finding {
	before, now, err := ParseLampPair(answer.Answer.Text, len(s.Item.Board.Lamps))
	if err != nil {
		return []Finding{{What: "lamps", How: Stated, Verdict: NotConfirmed, Value: Text(answer.Answer.Text), Note: err.Error(), Rests: RefsOf(answer)}}
	}
	n := len(s.Item.Board.Lamps)
	findings := []Finding{
		lampFinding("lamps without a tag", before, idle, n, RefsOf(answer)),
		lampFinding("lamps with an accepted tag", now, accepted, n, RefsOf(answer, tag)),
	}
	if before.complements(idle, n) && now.complements(accepted, n) {
		for i := range findings {
			findings[i].Note = lampsNote(findings[i]) + "every lamp is the other way round, in both states: the light polarity of the build is wrong for these lamps."
		}
	}
	return findings
}

func lampFinding(what string, seen, planned Lamps, n int, rests []Ref) Finding {
	f := Finding{What: what, How: Stated, Verdict: Passed, Value: Text(litPrefix + seen.String()), Limit: ptr(Text(litPrefix + planned.String())), Rests: rests}
	if seen.String() != planned.String() {
		f.Verdict = Failed
		f.Note = lampsNote(f) + "a wire or a dead lamp where one is wrong."
	}
	return f
}

func lampsNote(f Finding) string {
	return fmt.Sprintf("Lamps seen %s, planned %s: ", strings.TrimPrefix(f.Value.Text, litPrefix), strings.TrimPrefix(f.Limit.Text, litPrefix))
}

const litPrefix = "lit: "

// Lamps are the lit lamps by position from the left, from 1; true where a lamp
// blinks.
type Lamps map[int]bool

// String lists the lit lamps, a star after one that blinks, "-" for none.
func (l Lamps) String() string {
	var parts []string
	for i := 1; i <= 99; i++ {
		if blinks, lit := l[i]; lit {
			part := strconv.Itoa(i)
			if blinks {
				part += "*"
			}
			parts = append(parts, part)
		}
	}
	if len(parts) == 0 {
		return "-"
	}
	return strings.Join(parts, " ")
}

// complements reports whether of n lamps exactly those are lit that m has dark.
func (l Lamps) complements(m Lamps, n int) bool {
	for i := 1; i <= n; i++ {
		_, a := l[i]
		_, b := m[i]
		if a == b {
			return false
		}
	}
	return true
}

// ParseLampPair reads an answer such as "3 / 2" or "1 2* / -" for n lamps.
func ParseLampPair(text string, n int) (before, now Lamps, err error) {
	first, second, found := strings.Cut(text, "/")
	if !found {
		return nil, nil, fmt.Errorf("lamps %q: want BEFORE / NOW, such as 3 / 2", text)
	}
	if before, err = parseLamps(first, n); err != nil {
		return nil, nil, err
	}
	now, err = parseLamps(second, n)
	return before, now, err
}

func parseLamps(text string, n int) (Lamps, error) {
	lit := Lamps{}
	for _, part := range strings.Fields(strings.ReplaceAll(text, ",", " ")) {
		if part == "-" || strings.EqualFold(part, "none") {
			continue
		}
		number := part
		if strings.ContainsAny(part[len(part)-1:], "bB*") {
			number = part[:len(part)-1]
		}
		i, err := strconv.Atoi(number)
		if err != nil || i < 1 || i > n {
			return nil, fmt.Errorf("lamp %q: want a number from 1 to %d, with b when it blinks, or none", part, n)
		}
		lit[i] = number != part
	}
	return lit, nil
}
