package link

import (
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/parsers"
)

// withNames adds to the findings of a link that failed which of the look-alike faults
// it is, where what was seen tells them apart.
func withNames(s *checklist.Scene, findings []checklist.Finding) []checklist.Finding {
	if !slices.ContainsFunc(findings, func(f checklist.Finding) bool { return f.Verdict == checklist.Failed }) {
		return findings
	}
	for _, f := range NameFaults(Seen{Item: s.Item, Entries: ofTheStep(s), Until: s.Now()}) {
		if len(f.Rests) == 0 {
			continue // nothing on record shows it
		}
		note := "Try: " + f.Remedy
		if f.Caution != "" {
			note += " Caution: " + f.Caution
		}
		findings = append(findings, checklist.Finding{
			What: "fault", How: checklist.Measured, Verdict: checklist.Failed, Rests: f.Rests,
			Value: checklist.Text(f.Title + ": " + strings.Join(f.Evidence, "; ")), Note: note,
		})
	}
	return findings
}

// ofTheStep are the entries that a link is judged by: what the board said of its
// network since its last start, and all of the step's own. Tags that were shown
// before served other ends.
func ofTheStep(s *checklist.Scene) (entries []checklist.Entry) {
	first := int64(0)
	if own := s.Earlier(); len(own) > 0 {
		first = own[0].N
	}
	boot := min(max(s.Belief().BootN-1, 0), max(first-1, 0))
	for _, e := range s.Log.Entries(boot) {
		network := checklist.IsKind(e, parsers.KindBoot, parsers.KindAddress, parsers.KindLinkUp, parsers.KindLinkDown,
			parsers.KindControllerUp, parsers.KindControllerDown, parsers.KindBoardFault)
		if e.N >= first || network || isFrame(e, checklist.FrameConnected) || isFrame(e, checklist.FrameClosed) {
			entries = append(entries, e)
		}
	}
	return entries
}
