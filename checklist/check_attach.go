package checklist

import (
	"context"
	"fmt"
	"math"
	"time"

	"propwright/parsers"
)

// checkAttach watches the board come up: text at all, text at the right speed,
// one boot and no second one.
func checkAttach(ctx context.Context, s *Scene) ([]Finding, error) {
	silence, err := s.Step.Seconds("silence")
	if err != nil {
		return nil, err
	}
	watch, err := s.Step.Seconds("watch")
	if err != nil {
		return nil, err
	}
	c := s.Beginning()
	first, heard, err := s.Await(ctx, c, silence, hasText)
	if err != nil {
		return nil, err
	}
	if heard {
		seen, err := s.gather(ctx, c, watch)
		if err != nil {
			return nil, err
		}
		return s.judgeStart(ctx, append([]Entry{first}, seen...), watch)
	}
	// A board that does not restart when its port is opened may have nothing to say.
	boot, booted, err := s.Reset(ctx)
	if err != nil {
		return nil, err
	}
	if !booted {
		return []Finding{silent(s, silence)}, nil
	}
	seen, err := s.gather(ctx, c, watch)
	if err != nil {
		return nil, err
	}
	return s.judgeStart(ctx, append([]Entry{boot}, seen...), watch)
}

// hasText matches whatever came over the line.
func hasText(e Entry) bool { return e.Event != nil && e.Event.Raw != nil }

// gather reads all console entries of a stretch of time.
func (s *Scene) gather(ctx context.Context, c *Cursor, d time.Duration) ([]Entry, error) {
	var seen []Entry
	err := s.Observe(ctx, "no second boot", c, d, func(e Entry) {
		if hasText(e) {
			seen = append(seen, e)
		}
	})
	return seen, err
}

func silent(s *Scene, waited time.Duration) Finding {
	port := Entry{}
	for _, e := range s.Earlier() {
		if IsKind(e, parsers.KindAttached) {
			port = e
		}
	}
	return Finding{
		What: "console text", Verdict: Failed, How: Measured,
		Value: Text("none"), Limit: ptr(Text(fmt.Sprintf("text within %g s", waited.Seconds()))),
		Note:  "Nothing came, also after a reset: another port, a cable without data wires, or firmware that does not print.",
		Rests: RefsOf(port),
	}
}

// judgeStart comes to the findings of what the board said while it was watched.
func (s *Scene) judgeStart(ctx context.Context, seen []Entry, watch time.Duration) ([]Finding, error) {
	var boots []Entry
	var noise, bytes int64
	for _, e := range seen {
		bytes += e.Event.Size()
		switch e.Event.Kind {
		case parsers.KindNoise:
			noise += e.Event.Size()
		case parsers.KindBoot:
			boots = append(boots, e)
		}
	}
	if len(boots) == 0 && noise*2 > bytes {
		return s.wrongSpeed(ctx, seen, float64(noise)/float64(bytes))
	}
	s.unasked = nil // counted here
	findings := []Finding{bootsFinding(boots, seen, watch)}
	if f, told := s.firmware(); told {
		findings = append(findings, f)
	}
	return findings, nil
}

func bootsFinding(boots, seen []Entry, watch time.Duration) Finding {
	n := float64(len(boots))
	f := Finding{
		What: "boots", How: Measured, Value: Number(n, "1", fmt.Sprintf("%.0f in %g s", n, watch.Seconds())),
		Limit: ptr(Number(1, "1", "one")), Rests: RefsOf(boots...), Verdict: Passed,
	}
	switch {
	case len(boots) == 0:
		f.Verdict, f.Rests = NotConfirmed, RefsOf(seen...)
		f.Note = "There is text, but none that the wording knows as a start: choose the wording of this firmware."
	case len(boots) > 1:
		f.Verdict = Failed
		period, spread := periodOf(boots)
		f.Value.Text += fmt.Sprintf(", every %.1f s (spread %.2f s)", period, spread)
		f.Note = "The board restarts by itself; the cause that it tells of is in the evidence. Look at the supply first."
	}
	return f
}

// periodOf is the mean time between boots and its standard deviation, seconds.
func periodOf(boots []Entry) (mean, spread float64) {
	n := float64(len(boots) - 1)
	for i := 1; i < len(boots); i++ {
		mean += boots[i].Event.First.Sub(boots[i-1].Event.First).Seconds() / n
	}
	if n < 2 {
		return mean, 0
	}
	for i := 1; i < len(boots); i++ {
		d := boots[i].Event.First.Sub(boots[i-1].Event.First).Seconds() - mean
		spread += d * d / (n - 1)
	}
	return mean, math.Sqrt(spread)
}

// wrongSpeed is the finding that text does not arrive as text.
func (s *Scene) wrongSpeed(ctx context.Context, seen []Entry, share float64) ([]Finding, error) {
	likely, err := s.LikelySpeed(ctx)
	if err != nil {
		return nil, err
	}
	f := Finding{
		What: "console speed", Verdict: Failed, How: Measured, Rests: RefsOf(seen...),
		Limit: ptr(Number(float64(s.Item.Board.Speed), "baud", fmt.Sprintf("%d baud", s.Item.Board.Speed))),
	}
	if likely == 0 {
		f.Value = Text(fmt.Sprintf("%.0f %% of the bytes are no text, at no common speed either", 100*share))
		f.Note = "No common speed makes text of it: look at the ground wire and the adapter, or ask who built the firmware."
		return []Finding{f}, nil
	}
	f.Value = Number(float64(likely), "baud", fmt.Sprintf("likely %d baud", likely))
	f.Note = fmt.Sprintf("Expected %d baud, likely %d baud: correct the firmware's console speed, or the plan.", s.Item.Board.Speed, likely)
	return []Finding{f}, nil
}

// firmware is the finding on the firmware's name and version; told is false when
// it is neither planned nor echoed.
func (s *Scene) firmware() (f Finding, told bool) {
	echo, planned := s.Belief().Firmware, s.Item.Board.Firmware
	f = Finding{What: "firmware", How: Measured, Value: Text(echo.Value), Verdict: Passed}
	if echo.N > 0 {
		f.Rests = RefsOf(s.Log.entry(echo.N))
	}
	if planned != "" {
		f.Limit = ptr(Text(planned))
	}
	switch {
	case echo.Value == "" && planned == "":
		return f, false
	case echo.Value == "":
		f.Verdict, f.Value, f.Note = NotConfirmed, Text("not echoed"), "The firmware does not tell its name at start."
	case planned != "" && planned != echo.Value:
		f.Verdict, f.Note = Failed, "Another firmware than planned."
	}
	return f, true
}
