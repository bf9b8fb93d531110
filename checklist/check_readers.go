package checklist

import (
	"context"
	"fmt"
	"time"

	"propwright/parsers"
)

const (
	measureWhich = "reader-asked"
	// elsewhereTime is how long another reader, or another's coil, is watched for
	// once the tag has shown where it was laid.
	elsewhereTime = 2 * time.Second
)

// checkReaders lays the prop's own tag on each reader in turn and watches all of
// them: it must show at that reader only, and switch no other one's coil.
func checkReaders(ctx context.Context, s *Scene) ([]Finding, error) {
	within, err := s.Step.Seconds("within")
	if err != nil {
		return nil, err
	}
	var findings []Finding
	for _, r := range s.Item.Readers {
		m, done := s.asked(r.Index)
		if !done {
			if m, err = s.askReader(ctx, r, within); err != nil {
				return nil, err
			}
		}
		findings = append(findings, s.whichFinding(r, m))
	}
	return findings, nil
}

// asked is the record of a reader that was looked at already.
func (s *Scene) asked(reader int) (Entry, bool) {
	for _, e := range s.Measures(measureWhich) {
		if e.Measure.Reader == reader {
			return e, true
		}
	}
	return Entry{}, false
}

// askReader lays the tag on a reader and puts on record where it showed.
func (s *Scene) askReader(ctx context.Context, r Reader, within time.Duration) (Entry, error) {
	mark := s.Log.Len()
	where := "nowhere"
	if err := s.Instruct(ctx, Instruction{
		Act: ActPlace, Role: RoleShow, Reader: r.Index,
		Text: fmt.Sprintf("Lay the prop's own tag on %s and leave it there.", s.which(r.Index)),
	}); err != nil {
		return Entry{}, err
	}
	seen, ok, err := s.Await(ctx, CursorAt(mark), within, isTag)
	if err != nil {
		return Entry{}, err
	}
	rests := []Entry{}
	if ok {
		rests = append(rests, seen)
		if err := s.Observe(ctx, "the other readers, with a tag on one", CursorAt(seen.N), elsewhereTime, func(e Entry) {
			if isTag(e) && e.Event.Reader != seen.Event.Reader {
				rests = append(rests, e)
			}
		}); err != nil {
			return Entry{}, err
		}
		where = s.shownAt(r, rests)
	}
	m := Measure{Name: measureWhich, Value: 1, Unit: "1", Reader: r.Index, Params: map[string]string{"shown_at": where, "coil": s.strayCoil(r, mark)}, Rests: RefsOf(rests...)}
	if err := s.Instruct(ctx, Instruction{Act: ActTake, Role: RoleShow, Reader: r.Index, Text: "Lift the tag."}); err != nil {
		return Entry{}, err
	}
	if err := s.Pause(ctx, time.Second); err != nil {
		return Entry{}, err
	}
	return s.Measure(m)
}

func isTag(e Entry) bool {
	return IsKind(e, parsers.KindTagPresent, parsers.KindCardAccepted, parsers.KindCardRefused)
}

// shownAt says in words where a tag that was laid on a reader showed.
func (s *Scene) shownAt(r Reader, seen []Entry) string {
	own := false
	for _, e := range seen {
		switch {
		case e.Event.Reader == parsers.NoReader:
			return "the text names no reader"
		case e.Event.Reader != r.Index:
			return fmt.Sprintf("reader %d", e.Event.Reader)
		}
		own = true
	}
	if !own {
		return "nowhere"
	}
	return "here only"
}

// strayCoil is a coil of another reader that was switched on since a place in the
// log, "" for none.
func (s *Scene) strayCoil(r Reader, mark int64) string {
	for _, e := range s.Log.Entries(mark) {
		for _, other := range s.Item.Readers {
			if other.Index != r.Index && other.Coil != r.Coil && e.Frame.Writes(other.Coil, true) {
				return fmt.Sprintf("%d of reader %d", other.Coil, other.Index)
			}
		}
	}
	return ""
}

func (s *Scene) whichFinding(r Reader, m Entry) Finding {
	where, coil := m.Measure.Params["shown_at"], m.Measure.Params["coil"]
	f := Finding{
		What: fmt.Sprintf("tag on reader %d", r.Index), Reader: r.Index, How: Measured, Verdict: Failed,
		Value: Text("shows at " + where), Limit: ptr(Text(fmt.Sprintf("shows at reader %d only", r.Index))), Rests: append(RefsOf(m), m.Measure.Rests...),
	}
	switch {
	case where == "here only" && coil == "":
		f.Verdict, f.Value = Passed, Text(fmt.Sprintf("shows at reader %d only", r.Index))
	case where == "here only":
		f.Value = Text("switches coil " + coil)
		f.Note = fmt.Sprintf("The tag lay on reader %d and coil %s was switched: the firmware's coils are exchanged.", r.Index, coil)
	case where == "nowhere":
		f.Value = Text("shows nowhere")
		f.Note = "The tag was laid there and no reader told of it; see the steps of this reader's chip and range."
	case where == "the text names no reader":
		f.Verdict, f.Value = NotConfirmed, Text(where)
		f.Note = "The firmware does not tell which of its readers saw the tag, so only the coils tell them apart; see the link step."
	default:
		f.Note = fmt.Sprintf("The tag lay on reader %d and showed at %s: their select wires are exchanged, or the antennas are so near that one reads the other's tag.", r.Index, where)
	}
	return f
}
