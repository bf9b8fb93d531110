package link

import (
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/parsers"
)

// withNames adds to the findings of a link which of the look-alike faults it has, where
// what was seen tells them apart. Some show only there: a tag switches its coil all the
// same.
func withNames(s *checklist.Scene, findings []checklist.Finding) []checklist.Finding {
	failed := slices.ContainsFunc(findings, func(f checklist.Finding) bool { return f.Verdict == checklist.Failed })
	hidden := []string{FaultLinkFlaps, FaultTwoBoards, FaultWritesTwice}
	for _, f := range NameFaults(Seen{Item: s.Item, Entries: ofTheStep(s), Until: s.Now()}) {
		if len(f.Rests) == 0 || !failed && !slices.Contains(hidden, f.ID) {
			continue // nothing on record shows it, or the step's own limits say that it is none
		}
		named := checklist.Finding{
			What: "fault", How: checklist.Measured, Verdict: checklist.Failed, Rests: f.Rests,
			Value: checklist.Text(f.Title + ": " + strings.Join(f.Evidence, "; ")), Note: "Try: " + f.Remedy,
		}
		if f.Caution != "" {
			named.Note += " Caution: " + f.Caution
		}
		if !failed && f.ID == FaultWritesTwice { // it harms nobody as long as the values are right
			named.Verdict, named.Note = checklist.Passed, "Note: "+named.Note
		}
		findings = append(findings, named)
	}
	return findings
}

// ofTheStep are the entries that a link is judged by: what the board said of its
// network since its last start, and all of the step's own since it last began. Tags that were shown
// before served other ends.
func ofTheStep(s *checklist.Scene) (entries []checklist.Entry) {
	first := int64(1)
	for _, e := range s.Log.Entries(0) {
		if e.Type == checklist.EntryBegin && e.Sitting == s.Step.Sitting && e.Step == s.Step.ID {
			first = e.N // an attempt that was broken off has tags without writes, and the other way round
		}
	}
	boot := min(max(s.Belief().BootN-1, 0), first-1)
	for _, e := range s.Log.Entries(boot) {
		network := checklist.IsKind(e, parsers.KindBoot, parsers.KindAddress, parsers.KindLinkUp, parsers.KindLinkDown,
			parsers.KindControllerUp, parsers.KindControllerDown, parsers.KindBoardFault)
		if e.N >= first || network || isFrame(e, checklist.FrameConnected) || isFrame(e, checklist.FrameClosed) {
			entries = append(entries, e)
		}
	}
	return entries
}
