package link

import (
	"context"
	"fmt"
	"time"

	"propwright/checklist"
)

// CleanUpSite is the kind of check "clean-up-site": the prop's own tag works once
// more, then everything that does not belong to the room leaves it. Its figures
// come from the step's parameters (on_within, off_within).
type CleanUpSite struct{ StandIn Switch }

// Console is false: the board is in service by now.
func (CleanUpSite) Console() bool { return false }

const measureLast = "last-showing"

// Run shows the tag and has the room tidied. It returns errors of the log, the
// person and the step's parameters.
func (k CleanUpSite) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	all := readers(s.Item)
	w := showing{several: len(all) > 1}
	if err := figures(s.Step, map[string]*time.Duration{"on_within": &w.onWithin, "off_within": &w.offWithin}); err != nil {
		return nil, err
	}
	findings := noStandIn()
	if !absent(k.StandIn) {
		ok, refused, err := s.ClearRoom(ctx)
		if err != nil {
			return nil, err
		}
		findings = refused
		if ok {
			for _, w.reader = range all {
				f, err := lastShowing(ctx, s, w)
				if err != nil {
					return nil, err
				}
				findings = append(findings, f)
			}
		}
	}
	return findings, s.Instruct(ctx, checklist.Instruction{
		Act:  checklist.ActNote,
		Text: "Take the master tag out of the room, to " + s.Item.Keeper() + ". Take the stand-in off the network and give the controller its address back; take the tap and the test tags with you.",
	})
}

// lastOf is the record of a reader's last showing.
func lastOf(s *checklist.Scene, r checklist.Reader) (checklist.Entry, bool) {
	for _, e := range s.Measures(measureLast) {
		if e.Measure.Reader == r.Index {
			return e, true
		}
	}
	return checklist.Entry{}, false
}

func lastShowing(ctx context.Context, s *checklist.Scene, w showing) (checklist.Finding, error) {
	s.ExpectDetach()
	if _, done := lastOf(s, w.reader); !done {
		if err := tidy(ctx, s); err != nil {
			return checklist.Finding{}, err
		}
		p, err := show(ctx, s, w)
		if err != nil {
			return checklist.Finding{}, err
		}
		if err := recordShown(s, measureLast, w.reader, p); err != nil {
			return checklist.Finding{}, err
		}
	}
	e, _ := lastOf(s, w.reader)
	f := checklist.Finding{
		What: "the prop's own tag, last", Reader: w.reader.Index, How: checklist.Measured, Verdict: checklist.Passed, Rests: append(checklist.RefsOf(e), e.Measure.Rests...),
		Value: checklist.Text(fmt.Sprintf("coil %d %s", w.reader.Coil, acted(w.reader))), Limit: ptr(checklist.Text(fmt.Sprintf("coil %d %s", w.reader.Coil, acted(w.reader)))),
	}
	if result := e.Measure.Params["result"]; result != resultOK {
		f.Verdict, f.Value = checklist.Failed, checklist.Text(result)
		if coil := e.Measure.Params["coil"]; result == resultWrongCoil {
			f.Value = checklist.Text(fmt.Sprintf("coil %s seen, coil %d planned", coil, w.reader.Coil))
		}
	}
	return f, nil
}
