package diagnose

import "slices"

// Ids of the two causes that every knowledge has: no cause at all, and one that is
// not in the list.
const (
	NothingWrong  = "nothing-wrong"
	SomethingElse = "something-else"
)

// A Cause is something that can be wrong.
type Cause struct {
	ID, Title, Area string
	Meaning         string // in one sentence
	Words           string // that people use of it, apart by blanks
	// Prior is how many of a hundred complaints it is behind, before anything is seen.
	Prior   float64
	Basis   []string // what the prior rests on
	Remedy  string
	Caution string // "" where nothing can hurt
	Part    string // spare part, "" for none
	Tools   []string
	Minutes float64 // to repair, with the tools at hand
}

// A Value is one thing that a finding can be. The first of a finding is the usual
// one; the further down, the more it overrides the ones before where two causes are
// at work (the order of the noisy-MAX).
type Value struct {
	ID   string
	Leak float64 // how often it is seen where none of our causes has a hand in it
	Tell string  // what was seen, in words
	// says match a person's answer to this finding's question, shows any line of a text.
	says, shows []phrase
}

// A Finding is something that can be seen or asked, with the values it can have.
type Finding struct {
	ID, About string
	Values    []Value
	// Action findings are deeds and what came of them: values[0] is "no change".
	Action bool
	Basis  []string // of the leak
	asks   []phrase
	slip   float64 // share of wrong observations of its own, -1 for the model's
	leak   []float64
	dist   [][]float64 // by cause; nil where the cause has no hand in it
	other  []float64   // under a cause that is not in the list and shows nothing unusual
}

// A Test is a way to see a finding.
type Test struct {
	ID, Ask string
	Finding int // index in Knowledge.Findings
	Minutes float64
	Tools   []string
	Opens   bool // the prop must be opened
	Console bool // needs a computer at the board's console
	// Destroys are findings that can no longer be seen afterwards, as indexes.
	Destroys []int
	Masks    string // what it hides or spoils, in words; "" for nothing
	Needs    []int  // tests that go before, as indexes
	Moot     []Moot // what makes it idle
	Why      string
	Script   string // how it is made at a port, "" where it is only asked
	Caution  string
	says     []phrase
}

// A Model is the few numbers that belong to no cause.
type Model struct {
	NothingWrong float64 // weight of "nothing wrong", of a hundred complaints
	Pairs        float64 // share of complaints with two causes at once, 0 to 1
	Slip         float64 // share of every observation that is wrong or of another meaning, 0 to 1
	Unfamiliar   float64 // how far "something else" is from what is usual, 0 to 1
	Open         float64 // minutes to open a prop and to close it again
	Check        float64 // minutes of the check that shows that nothing is wrong any more
}

// A Knowledge is what is known of causes, findings and tests. It is not changed after
// it is loaded and is safe for concurrent use.
type Knowledge struct {
	Model    Model
	Causes   []Cause
	Findings []Finding
	Tests    []Test
	sets     map[string][]alternative // named word lists
	other    int                      // index of SomethingElse
	lexicon  *lexicon
	steps    []stepRule
}

// Cause is the index of a cause, -1 for none of that id.
func (k *Knowledge) Cause(id string) int {
	return slices.IndexFunc(k.Causes, func(c Cause) bool { return c.ID == id })
}

// Finding is the index of a finding, -1 for none of that id.
func (k *Knowledge) Finding(id string) int {
	return slices.IndexFunc(k.Findings, func(f Finding) bool { return f.ID == id })
}

// Test is the index of a test, -1 for none of that id.
func (k *Knowledge) Test(id string) int {
	return slices.IndexFunc(k.Tests, func(t Test) bool { return t.ID == id })
}

// Value is the index of a finding's value, -1 for none of that id.
func (f *Finding) Value(id string) int {
	return slices.IndexFunc(f.Values, func(v Value) bool { return v.ID == id })
}
