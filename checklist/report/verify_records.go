package report

import (
	"bytes"
	"encoding/json"

	"propwright/checklist"
)

// records holds the bundle's records against each other and the report against
// them.
func (v *verifier) records(m Model) {
	journal := v.files[FileJournal]
	entries, good, err := checklist.ReadJournal(bytes.NewReader(journal))
	if err != nil {
		v.problem(FileJournal, "%v", err)
		return
	}
	if good != int64(len(journal)) {
		v.problem(FileJournal, "its last line has no end")
	}
	if len(entries) != m.Entries {
		v.problem(FileJournal, "has %d entries, the report says %d", len(entries), m.Entries)
	}
	v.derived(FileEvents, entries, eventLines)
	v.derived(FileFrames, entries, frameLines)
	v.console(m, entries)
	v.evidence(m, entries)
	v.again(m, entries)
}

// derived makes a record from the journal again and compares.
func (v *verifier) derived(name string, entries []checklist.Entry, lines func([]checklist.Entry) ([]byte, error)) {
	want, err := lines(entries)
	if err != nil {
		v.problem(name, "cannot be made again from %s: %v", FileJournal, err)
		return
	}
	if !bytes.Equal(want, v.files[name]) {
		v.problem(name, "differs from what %s holds", FileJournal)
	}
}

// console compares what the events received with what was recorded.
func (v *verifier) console(m Model, entries []checklist.Entry) {
	raw := v.files[FileConsole]
	if int64(m.Console.Bytes) != int64(len(raw)) {
		v.problem(FileConsole, "has %d bytes, the report says %d", len(raw), m.Console.Bytes)
	}
	read, err := readConsole(entries)
	switch {
	case err != nil:
		v.problem(FileJournal, "%v", err)
	case int64(m.Console.Read) != int64(len(read)):
		v.problem(FileConsole, "the events cover %d bytes, the report says %d", len(read), m.Console.Read)
	case !bytes.HasPrefix(raw, read):
		v.problem(FileConsole, "the events joined do not give it back")
	}
}

// evidence checks that each reference points at something there is.
func (v *verifier) evidence(m Model, entries []checklist.Entry) {
	console := Int(len(v.files[FileConsole]))
	for _, s := range m.Steps {
		for _, f := range s.Findings {
			if f.Verdict == checklist.Passed && len(f.Evidence) == 0 && s.Verdict == checklist.Passed {
				v.problem(FileReport, "step %q, finding %q: passed without evidence", s.ID, f.What)
			}
			for _, r := range f.Evidence {
				if !pointsAt(r, entries, console) {
					v.problem(FileReport, "step %q, finding %q: evidence %s %d-%d is not there", s.ID, f.What, r.Type, r.From, r.To)
				}
			}
		}
	}
}

func pointsAt(r Ref, entries []checklist.Entry, console Int) bool {
	if r.Type == checklist.RefConsole {
		return 0 <= r.From && r.From <= r.To && r.To <= console
	}
	if r.From < 1 || r.From > Int(len(entries)) {
		return false
	}
	e := entries[r.From-1]
	switch r.Type {
	case checklist.RefFrame:
		return e.Frame != nil
	case checklist.RefAnswer:
		return e.Answer != nil
	case checklist.RefMeasure:
		return true // what the tool itself knows: a measurement, or an event of its own
	}
	return false
}

// again folds the journal once more: the report's steps, what is open, its
// sittings, gaps and notes must come out the same.
func (v *verifier) again(m Model, entries []checklist.Entry) {
	f := fold(entries, planOf(m))
	for _, part := range []struct {
		what       string
		have, want any
	}{
		{"steps", m.Steps, f.Steps},
		{"open steps", m.Open, f.Open},
		{"sittings", unsigned(m.Sittings), f.Sittings},
		{"gaps", m.Gaps, f.Gaps},
		{"notes", m.Notes, f.Notes},
		{"stories", m.Stories, f.Stories},
		{"verdict", m.Verdict, worst(f.Sittings)},
		{"complete", m.Complete, len(f.Open) == 0},
	} {
		have, err1 := json.Marshal(part.have)
		want, err2 := json.Marshal(part.want)
		if err1 != nil || err2 != nil || !bytes.Equal(have, want) {
			v.problem(FileReport, "%s: not what %s holds", part.what, FileJournal)
		}
	}
}

// planOf is the procedure as far as the report repeats it.
func planOf(m Model) []checklist.Step {
	var plan []checklist.Step
	for _, s := range m.Steps {
		step := checklist.Step{ID: s.ID, Title: s.Title, Sitting: s.Sitting, RestsOn: s.RestsOn, Cautions: cautionsOf(s.Cautions)}
		if s.EachReader {
			step.EachReader, step.Reader = checklist.EachAlways, s.Reader
		}
		plan = append(plan, step)
	}
	for _, o := range m.Open {
		step := checklist.Step{ID: o.ID, Title: o.Title, Sitting: o.Sitting, RestsOn: o.RestsOn, Cautions: cautionsOf(o.Cautions)}
		if o.EachReader {
			step.EachReader, step.Reader = checklist.EachAlways, o.Reader
		}
		plan = append(plan, step)
	}
	return plan
}

func unsigned(all []Sitting) []Sitting {
	out := list(all)
	for i := range out {
		out[i].Signed = nil
	}
	return out
}

// cautionsOf are the cautions of a report, which has them as whole texts.
func cautionsOf(texts []string) []checklist.Caution {
	var cautions []checklist.Caution
	for _, text := range texts {
		cautions = append(cautions, checklist.Caution{Text: text})
	}
	return cautions
}
