package reach

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// A Spacer is a kind of flat piece that keeps a tag away from a reader.
type Spacer struct {
	Name        string  // of one piece, such as "card"
	ThickMM     float64 // of one
	ToleranceMM float64 // of one, plus or minus; all of a kind are off alike
	Count       int     // how many there are
	Material    string
}

// A Set is the spacers of a bench.
type Set struct {
	Name    string
	Spacers []Spacer
}

// Materials that a spacer may be of. Metal is not among them: it shields and detunes
// (see the field of a coil before a plate). The list is common practice, no source.
func Materials() []string {
	return []string{"plastic", "acrylic", "paper", "cardboard", "wood", "felt", "foam", "cork", "glass"}
}

// BuiltinSets are sets that most benches can lay their hands on: blank ID-1 cards,
// 0.76 mm with 0.08 mm either way (ISO/IEC 7810), and acrylic sheets, 0.4 mm and a
// tenth of the thickness either way (ISO 7823-1 for cast sheets, from memory).
func BuiltinSets() []Set {
	sheet := func(mm float64, n int) Spacer {
		return Spacer{Name: fmt.Sprintf("sheet of %g mm", mm), ThickMM: mm, ToleranceMM: 0.4 + mm/10, Count: n, Material: "acrylic"}
	}
	return []Set{
		{Name: "cards", Spacers: []Spacer{{Name: "card", ThickMM: 0.76, ToleranceMM: 0.08, Count: 60, Material: "plastic"}}},
		{Name: "sheets", Spacers: []Spacer{sheet(2, 2), sheet(3, 2), sheet(5, 2), sheet(10, 4)}},
	}
}

// A Stack is spacers on top of each other. The zero value is none.
type Stack struct {
	MM          float64
	ToleranceMM float64 // plus or minus, all pieces off alike
	Pieces      []Piece
}

// A Piece is how many of a kind a stack holds.
type Piece struct {
	Name  string
	Count int
}

// String says what to put on: "8 cards", "1 sheet of 5 mm and 2 cards".
func (s Stack) String() string {
	var parts []string
	for _, p := range s.Pieces {
		name := p.Name
		if p.Count != 1 {
			first, rest, _ := strings.Cut(name, " ")
			name = strings.TrimSpace(first + "s " + rest)
		}
		parts = append(parts, fmt.Sprintf("%d %s", p.Count, name))
	}
	return strings.Join(parts, " and ")
}

func (s Stack) pieces() (n int) {
	for _, p := range s.Pieces {
		n += p.Count
	}
	return n
}

const (
	// micro is how finely thicknesses are told apart, in millimetres.
	micro = 0.01
	// apart is how far stacks lie apart at least where a set could make more than
	// mostStacks of them: nobody chooses among hundreds.
	apart      = 0.5
	mostStacks = 120
)

// Stacks are all thicknesses that a set makes from one piece up to a spacing, by
// rising thickness, each with as few pieces as can be.
func (s Set) Stacks(mostMM float64) []Stack {
	of := map[int]Stack{0: {}}
	for _, kind := range s.Spacers {
		each := int(math.Round(kind.ThickMM / micro))
		if each <= 0 {
			continue
		}
		for _, at := range slices.Sorted(maps.Keys(of)) {
			base := of[at]
			for n := 1; n <= kind.Count; n++ {
				to := at + n*each
				if float64(to)*micro > mostMM+micro/2 {
					break
				}
				if old, made := of[to]; made && old.pieces() <= base.pieces()+n {
					continue
				}
				of[to] = Stack{
					MM: float64(to) * micro, ToleranceMM: base.ToleranceMM + float64(n)*kind.ToleranceMM,
					Pieces: append(slices.Clone(base.Pieces), Piece{kind.Name, n}),
				}
			}
		}
	}
	delete(of, 0)
	all := slices.SortedFunc(maps.Values(of), func(a, b Stack) int { return cmp.Compare(a.MM, b.MM) })
	if len(all) <= mostStacks {
		return all
	}
	var thin []Stack
	for _, st := range all {
		switch n := len(thin); {
		case n == 0 || st.MM-thin[n-1].MM >= apart:
			thin = append(thin, st)
		case st.pieces() < thin[n-1].pieces() && (n == 1 || st.MM-thin[n-2].MM >= apart):
			thin[n-1] = st
		}
	}
	return thin
}

// Nearest is the stack whose thickness comes closest to a spacing, none where that is
// closer to contact.
func Nearest(stacks []Stack, mm float64) Stack {
	best := Stack{}
	for _, s := range stacks {
		if math.Abs(s.MM-mm) < math.Abs(best.MM-mm) {
			best = s
		}
	}
	return best
}

// toleranceAt is how far off a spacing made of these stacks may be, between two of
// them in proportion.
func toleranceAt(stacks []Stack, mm float64) float64 {
	below := Stack{}
	for _, s := range stacks {
		if s.MM >= mm {
			return below.ToleranceMM + (s.ToleranceMM-below.ToleranceMM)*max(0, mm-below.MM)/(s.MM-below.MM)
		}
		below = s
	}
	if below.MM == 0 {
		return 0
	}
	return below.ToleranceMM * mm / below.MM
}
