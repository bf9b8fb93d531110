package checklist

import "slices"

// spoils returns what of the changes the step's evidence rested on.
func (s Step) spoils(changed []string) []string {
	var on []string
	for _, base := range s.RestsOn {
		if slices.Contains(changed, base) {
			on = append(on, base)
		}
	}
	return on
}

// Outcomes folds the log to what is decided: the last verdict of each step that
// no later change or repair has spoilt.
func Outcomes(entries []Entry, p Procedure) map[Place]Outcome {
	decided, _ := holding(entries, p)
	return decided
}

// Spoilt are the steps that were decided and are open again, each with the
// changes that took its ground away, in the order in which they came.
func Spoilt(entries []Entry, p Procedure) map[Place][]string {
	_, spoilt := holding(entries, p)
	return spoilt
}

// holding folds verdicts and changes: what still holds, and what spoilt the rest.
func holding(entries []Entry, p Procedure) (decided map[Place]Outcome, spoilt map[Place][]string) {
	decided, spoilt = map[Place]Outcome{}, map[Place][]string{}
	for _, e := range entries {
		switch e.Type {
		case EntryVerdict:
			place := e.place()
			decided[place] = *e.Outcome
			delete(spoilt, place)
		case EntryDiagnosis:
			place := e.place()
			if _, held := decided[place]; held && e.cures() {
				delete(decided, place)
				spoilt[place] = append(spoilt[place], "repair ("+e.Diagnosis.Repaired()+")")
			}
		case EntryExpire:
			for _, s := range p.Steps {
				place := s.Place()
				_, held := decided[place]
				if !held && len(spoilt[place]) == 0 {
					continue
				}
				for _, on := range s.spoils(e.Changed) {
					delete(decided, place)
					if !slices.Contains(spoilt[place], on) {
						spoilt[place] = append(spoilt[place], on)
					}
				}
			}
		}
	}
	return decided, spoilt
}
