package diagnose

import "slices"

// A Move is a test to do or a cause to repair.
type Move struct {
	Test   int // index, -1 where it is a repair
	Repair int // index of a cause; -1 is the check that nothing is wrong
	Cost   float64
}

// Move is what costs least on average from here: the best test where one makes the way to
// the repair shorter, else the repair that comes first in probability over cost. Causes
// that were repaired already are not repaired again. ok is false where nothing is left.
func (b *Belief) Move(s Situation) (m Move, ok bool) {
	if next := b.Next(s); len(next) > 0 {
		return Move{next[0].Test, noCause, next[0].Cost}, true
	}
	order, _ := b.RepairOrder()
	// What the look-ahead leaves out comes last, by its prior.
	for c := range b.k.Causes {
		if !slices.Contains(order, c) {
			order = append(order, c)
		}
	}
	for _, c := range order {
		if c == noCause || slices.Contains(s.Repaired, c) {
			continue
		}
		return Move{-1, c, b.k.Causes[c].Minutes + b.k.Model.Check}, true
	}
	return Move{}, false
}
