package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// A Result is the answer: causes in falling order, and what to do next.
type Result struct {
	// Verdict is what it comes to as a whole: VerdictFault, VerdictNone or VerdictOpen.
	Verdict Verdict    `json:"verdict"`
	Causes  []Ranked   `json:"causes"`
	Next    *NextTest  `json:"next"`
	First   string     `json:"first,omitempty"` // what to offer before anything else
	Heard   []Heard    `json:"heard,omitempty"`
	Notes   []string   `json:"notes,omitempty"`
	Seen    []SeenFact `json:"findings"`
}

// A Verdict is a word.
type Verdict string

// Verdicts.
const (
	VerdictFault Verdict = "fault"         // a cause leads
	VerdictNone  Verdict = "no fault seen" // all that was seen is normal
	VerdictOpen  Verdict = "open"          // too little is known
)

// Ranked is one cause.
type Ranked struct {
	ID          string   `json:"id"`
	Title       string   `json:"title"`
	Area        string   `json:"area,omitempty"`
	Probability float64  `json:"probability"`
	Evidence    []string `json:"evidence"` // what moved it most, for and against, in words
	Remedy      string   `json:"remedy"`
	Caution     string   `json:"caution"`
	Part        string   `json:"part,omitempty"`
	Tools       []string `json:"tools,omitempty"`
}

// NextTest is what to try next.
type NextTest struct {
	Test    string   `json:"test"`
	Why     string   `json:"why"`
	Gain    float64  `json:"gain"` // minutes saved on average on the way to the repair
	Cost    float64  `json:"cost"` // minutes
	Ask     string   `json:"ask"`
	Results []string `json:"results"` // what may come out, as to be answered
	Tell    []string `json:"tell"`    // the same in words
	Masks   string   `json:"masks,omitempty"`
	Caution string   `json:"caution,omitempty"`
	Tools   []string `json:"tools,omitempty"`
}

// Heard is an answer and what it was taken for.
type Heard struct {
	Told string   `json:"told"`
	As   []string `json:"as"` // empty where it was not understood
}

// SeenFact is a finding that was seen.
type SeenFact struct {
	Finding string `json:"finding"`
	Value   string `json:"value"`
	Words   string `json:"words"`
	From    Source `json:"from"`
	Line    int    `json:"line,omitempty"`
	Text    string `json:"text,omitempty"`
}

// How much is shown, and from what on a cause or nothing at all leads (judgement).
const (
	causesShown   = 8
	evidenceShown = 4
	leads         = 0.3
	soundsLike    = 2    // times its odds
	worthTelling  = 0.25 // of a finding's weight, in natural logarithms of odds
)

// Diagnose puts evidence together.
//
// unheard are answers that were understood as no finding; they count by their words.
// Situation.Repaired are causes that were repaired without cure.
func (k *Knowledge) Diagnose(seen []Evidence, unheard []string, s Situation) (*Result, *Belief, error) {
	obs := make([]Observation, len(seen))
	for i, e := range seen {
		obs[i] = e.Observation
	}
	b, err := k.Prior().Given(obs...)
	if err != nil {
		return nil, nil, err
	}
	heard, sounds := k.hint(strings.Join(unheard, "; "))
	if sounds {
		b = b.hinted(heard)
	}
	// What was understood has had its say; its words count a little beside it.
	var told []string
	for _, e := range seen {
		if e.From == FromAnswer && !e.Exact && !slices.Contains(told, e.Text) {
			told = append(told, e.Text)
		}
	}
	if beside, ok := k.hint(strings.Join(append(told, unheard...), "; ")); ok && len(told) > 0 {
		for c := range beside.like {
			beside.like[c] = math.Pow(beside.like[c], hintBeside)
		}
		b = b.hinted(beside)
	}
	for _, c := range s.Repaired {
		b = b.Repaired(c)
	}
	r := &Result{Causes: []Ranked{}, Seen: []SeenFact{}}
	type entry struct {
		cause int
		p     float64
	}
	list := []entry{{noCause, b.Nothing()}}
	for c, p := range b.Causes() {
		list = append(list, entry{c, p})
	}
	slices.SortStableFunc(list, func(x, y entry) int { return cmp.Compare(y.p, x.p) })
	moved := b.weights(seen)
	for _, e := range list[:min(causesShown, len(list))] {
		entry := k.ranked(e.cause, e.p, moved(e.cause), seen)
		if sounds && e.cause != noCause && heard.like[e.cause] > soundsLike {
			entry.Evidence = append(entry.Evidence, "for: what was said sounds like it ("+strings.Join(heard.words[e.cause], ", ")+")")
		}
		r.Causes = append(r.Causes, entry)
	}
	switch top := list[0]; {
	case len(seen) == 0 || top.p < leads:
		r.Verdict = VerdictOpen
	case top.cause == noCause:
		r.Verdict = VerdictNone
	default:
		r.Verdict = VerdictFault
	}
	for _, e := range seen {
		f := &k.Findings[e.Finding]
		r.Seen = append(r.Seen, SeenFact{f.ID, f.Values[e.Value].ID, k.Words(e.Observation), e.From, e.Line, clip(e.Text)})
	}
	if next := b.Next(s); len(next) > 0 {
		r.Next = b.describe(next[0])
	}
	r.First = firstOffer(s, r.Verdict)
	return r, b, nil
}

// fewMinutes is how many minutes are too few to look for a cause in (judgement).
const fewMinutes = 5

func firstOffer(s Situation, v Verdict) string {
	if s.Minutes > 0 && s.Minutes <= fewMinutes && v != VerdictNone {
		return "By-pass the prop at the controller now, and diagnose it after the group: its coil by hand, with the room watched where it moves anything."
	}
	return ""
}

// Words says in words what was seen.
func (k *Knowledge) Words(o Observation) string {
	f := &k.Findings[o.Finding]
	return f.About + ": " + f.Values[o.Value].Tell
}

const maxQuote = 120

func clip(text string) string {
	text = strings.TrimSpace(text)
	if len([]rune(text)) > maxQuote {
		return string([]rune(text)[:maxQuote]) + "…"
	}
	return text
}

func (k *Knowledge) ranked(c int, p float64, weight []float64, seen []Evidence) Ranked {
	r := Ranked{
		ID: NothingWrong, Title: "Nothing wrong", Area: "none", Probability: round(p), Evidence: []string{},
		Remedy: "None needed.",
	}
	if c != noCause {
		cause := &k.Causes[c]
		r = Ranked{cause.ID, cause.Title, cause.Area, round(p), []string{}, cause.Remedy, cause.Caution, cause.Part, cause.Tools}
	}
	order := make([]int, len(weight))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(math.Abs(weight[y]), math.Abs(weight[x])) })
	for _, i := range order[:min(evidenceShown, len(order))] {
		if math.Abs(weight[i]) < worthTelling {
			break
		}
		r.Evidence = append(r.Evidence, weighed(weight[i])+": "+k.Words(seen[i].Observation)+cite(seen[i]))
	}
	return r
}

// weighed says how much a finding moved a cause: by a factor of two, ten or more of its
// odds.
func weighed(w float64) string {
	how := "slightly "
	switch {
	case math.Abs(w) >= math.Log(10):
		how = "strongly "
	case math.Abs(w) >= math.Log(2.5):
		how = ""
	}
	if w > 0 {
		return how + "for"
	}
	return how + "against"
}

func cite(e Evidence) string {
	switch {
	case e.From == FromAnswer || e.From == FromScript:
		return map[Source]string{FromAnswer: " (answered)", FromScript: " (measured)"}[e.From]
	case e.Line > 0:
		return fmt.Sprintf(" (%s, line %d)", e.From, e.Line)
	}
	return fmt.Sprintf(" (%s)", e.From)
}

func round(p float64) float64 { return math.Round(p*1e4) / 1e4 }

// weights tells by how much each evidence moved the odds of a cause, in natural
// logarithms: the odds with all of it against those without this one.
func (b *Belief) weights(seen []Evidence) func(cause int) []float64 {
	without := make([][]float64, len(seen))
	nothing := make([]float64, len(seen))
	for i := range seen {
		p := b.without(i)
		without[i] = marginals(len(b.k.Causes), b.states, p)
		nothing[i] = p[0]
	}
	all := b.Causes()
	return func(c int) []float64 {
		out := make([]float64, len(seen))
		for i := range seen {
			if c == noCause {
				out[i] = logOdds(b.Nothing()) - logOdds(nothing[i])
			} else {
				out[i] = logOdds(all[c]) - logOdds(without[i][c])
			}
		}
		return out
	}
}

// logOdds is bounded, so that certainty has a size.
func logOdds(p float64) float64 {
	const tiny = 1e-12
	p = min(max(p, tiny), 1-tiny)
	return math.Log(p / (1 - p))
}

// describe puts a choice into words.
func (b *Belief) describe(c Choice) *NextTest {
	t := &b.k.Tests[c.Test]
	f := &b.k.Findings[t.Finding]
	n := &NextTest{
		Test: t.ID, Gain: math.Round(c.Gain*10) / 10, Cost: math.Round(c.Cost*10) / 10, Ask: t.Ask,
		Masks: t.Masks, Caution: t.Caution, Tools: t.Tools, Why: b.why(t),
	}
	for _, v := range f.Values {
		n.Results = append(n.Results, v.ID)
		n.Tell = append(n.Tell, v.Tell)
	}
	return n
}

// why says in one sentence what the test is good for now.
func (b *Belief) why(t *Test) string {
	f := &b.k.Findings[t.Finding]
	best, value, gain := noCause, -1, 0.0
	p := b.Causes()
	for c := range p {
		if c == b.k.other || f.dist[c] == nil {
			continue
		}
		for v := range f.Values {
			if g := p[c] * (f.dist[c][v] - f.leak[v]); g > gain {
				best, value, gain = c, v, g
			}
		}
	}
	text := strings.ToUpper(t.Why[:1]) + t.Why[1:]
	if best != noCause {
		text += fmt.Sprintf("; \"%s\" would speak for %q (%.0f %% now)", f.Values[value].Tell, b.k.Causes[best].Title, 100*p[best])
	}
	return text + "."
}
