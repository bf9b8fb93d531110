package checklist

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"propwright/parsers"
)

const (
	measureVersion = "reader-version"
	handsOff       = "hands off"
	flexed         = "flexed"
)

// checkChip reads the chip's version over and over, first with nobody touching
// the board and then with the joints bent a little. One steady value is an
// identity; several are an electrical fault, whatever the values.
func checkChip(ctx context.Context, s *Scene) ([]Finding, error) {
	reads, err := s.Step.Int("reads")
	if err != nil {
		return nil, err
	}
	flexReads, err := s.Step.Int("flex_reads")
	if err != nil {
		return nil, err
	}
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	if err := s.readVersions(ctx, handsOff, reads, within); err != nil {
		return nil, err
	}
	still := s.versions(handsOff)
	findings := []Finding{versionFinding(still)}
	if findings[0].Verdict != Passed {
		return findings, nil // bending would tell nothing more
	}
	if f, told := s.selfTest(still); told {
		findings = append(findings, f)
	}
	if flexReads == 0 {
		return findings, nil
	}
	if err := s.Instruct(ctx, Instruction{
		Act: ActFlex, Reader: s.Reader().Index,
		Text: "Bend the board of " + s.which(s.Reader().Index) + " gently at its header with the plastic stick, and keep bending.",
	}); err != nil {
		return nil, err
	}
	if err := s.readVersions(ctx, flexed, flexReads, within); err != nil {
		return nil, err
	}
	if err := s.Instruct(ctx, Instruction{Act: ActRelax, Reader: s.Reader().Index, Text: "Take the stick away."}); err != nil {
		return nil, err
	}
	return append(findings, flexFinding(still, s.versions(flexed))), nil
}

// readVersions restarts the board until there are n readings of that manner.
func (s *Scene) readVersions(ctx context.Context, manner string, n int, within time.Duration) error {
	for len(s.versions(manner)) < n {
		boot, booted, err := s.Reset(ctx)
		if err != nil {
			return err
		}
		for _, reader := range s.toldTogether(manner) {
			value, rests := "none", RefsOf(boot)
			if booted {
				if value, rests, err = s.versionTold(ctx, boot, reader, within); err != nil {
					return err
				}
			}
			m := Measure{Name: measureVersion, Value: versionNumber(value), Reader: reader, Params: map[string]string{"manner": manner, "version": value}, Rests: rests}
			if _, err := s.Measure(m); err != nil {
				return err
			}
		}
	}
	return s.Settle(ctx) // what follows the version in the boot text belongs to no later step
}

// toldTogether are the readers whose version one start tells: with hands off all
// of the board, so that it need not be restarted as often for each; under flex only
// the one whose board is bent.
func (s *Scene) toldTogether(manner string) []int {
	own := s.Reader().Index
	readers := []int{own}
	if manner != handsOff || s.Step.EachReader == "" {
		return readers
	}
	for _, r := range s.Item.Readers {
		if r.Index != own {
			readers = append(readers, r.Index)
		}
	}
	return readers
}

// versionTold is the version that a start tells of a reader. A chip that does not
// answer may be told with or without one.
func (s *Scene) versionTold(ctx context.Context, boot Entry, reader int, within time.Duration) (value string, rests []Ref, err error) {
	e, told, err := s.Await(ctx, CursorAt(boot.N), within, func(e Entry) bool {
		return IsKind(e, parsers.KindReaderVersion, parsers.KindReaderMissing) && Concerns(e, reader)
	})
	switch {
	case err != nil || !told:
		return "none", RefsOf(boot), err
	case e.Event.Kind == parsers.KindReaderVersion:
		return e.Event.Field("version"), RefsOf(e), nil
	}
	return "no answer", RefsOf(e), nil
}

// versionNumber is the register's value, -1 where there is none.
func versionNumber(text string) float64 {
	chip, err := parsers.ParseChipVersion(text)
	if err != nil {
		return -1
	}
	return float64(chip.Value)
}

func (s *Scene) versions(manner string) []Entry {
	reader := s.Reader().Index
	return slices.DeleteFunc(s.shared(measureVersion), func(e Entry) bool {
		return e.Measure.Params["manner"] != manner || e.Measure.Reader != reader
	})
}

// tally counts the readings by value, the most frequent first.
func tally(readings []Entry) (values []string, count map[string]int) {
	count = map[string]int{}
	for _, r := range readings {
		count[r.Measure.Params["version"]]++
	}
	values = slices.SortedFunc(maps.Keys(count), func(a, b string) int {
		if count[a] != count[b] {
			return count[b] - count[a]
		}
		return strings.Compare(a, b)
	})
	return values, count
}

func versionFinding(readings []Entry) Finding {
	values, count := tally(readings)
	n := len(readings)
	f := Finding{What: "chip version", How: Measured, Rests: RefsOf(readings...), Verdict: Failed, Limit: ptr(Text("one steady version of a working chip"))}
	if len(values) > 1 {
		var parts []string
		for _, v := range values {
			parts = append(parts, fmt.Sprintf("%s %d times", v, count[v]))
		}
		f.Value = Text(fmt.Sprintf("several version values in %d readings: %s", n, strings.Join(parts, ", ")))
		f.Note = "Values that change are electrical: a loose joint, a long lead, a failing board. Solder every pin of the header, shorten the leads, then try another reader board."
		return f
	}
	value := "none"
	if n > 0 {
		value = values[0]
	}
	number := versionNumber(value)
	if number < 0 {
		f.Value = Text(fmt.Sprintf("%s, %d of %d", value, n, n))
		f.Note = "The firmware tells no version: it found no chip, or does not print it."
		return f
	}
	chip := parsers.ChipVersion(byte(number))
	f.Value = Number(number, "", fmt.Sprintf("version 0x%02X, %d of %d", chip.Value, n, n))
	switch {
	case chip.Silent():
		f.Note = chip.Name + ". No communication: a pin not soldered, no supply at the chip, or a data wire on the wrong pin."
	case chip.Genuine():
		f.Verdict, f.Note = Passed, chip.Name+"."
	default:
		f.Verdict, f.Note = Passed, fmt.Sprintf("Note: version 0x%02X is no version of the original chip (%s); its self-test is not comparable, so range and repeatability decide.", chip.Value, chip.Name)
	}
	return f
}

// selfTest is the finding on the chip's own test, where the firmware runs it.
func (s *Scene) selfTest(still []Entry) (f Finding, told bool) {
	echo := s.Belief().SelfTest
	if echo.N == 0 {
		return f, false
	}
	f = Finding{What: "chip self-test", How: Measured, Verdict: Passed, Value: Text(echo.Value), Rests: RefsOf(s.Log.entry(echo.N))}
	comparable := len(still) > 0 && parsers.ChipVersion(byte(still[0].Measure.Value)).Comparable
	switch {
	case !comparable:
		f.Value = Text("not comparable (" + echo.Value + ")")
		f.Note = "Reference bytes are published for versions 1.0 and 2.0 of the original chip only."
	case echo.Value != "passed":
		f.Note = "The bytes differ from the data sheet's; a tag that is read outweighs that, so the cards step decides."
	}
	return f, true
}

func flexFinding(still, bent []Entry) Finding {
	want := still[0].Measure.Params["version"]
	bad := 0
	for _, r := range bent {
		if r.Measure.Params["version"] != want {
			bad++
		}
	}
	f := Finding{
		What: "joints under flex", How: Measured, Verdict: Passed, Rests: RefsOf(bent...),
		Value: Number(float64(bad), "1", fmt.Sprintf("%d of %d readings lost", bad, len(bent))), Limit: ptr(Number(0, "1", "none lost")),
	}
	if bad > 0 {
		f.Verdict = Failed
		f.Note = "Lost under flex, steady with hands off: a joint. Solder every pin of the header again."
	}
	return f
}
