package diagnose

import (
	"cmp"
	"slices"
)

// How much of the belief the look-ahead holds, and how many tests it looks behind.
const (
	aheadStates = 40
	aheadMass   = 0.995
	aheadTests  = 10
)

// A Situation is what stands between a test and the person who would do it.
type Situation struct {
	Minutes   float64 // left; 0 for not known
	NoConsole bool    // no computer can be put to the board's console
	Opened    bool    // the prop is open already
	Done      map[int]bool
	Repaired  []int // causes that were repaired without cure
	Facts     []Fact
}

// A Fact is something of the situation that makes some tests idle.
type Fact string

// The facts that tests can name.
const (
	FactConsole Fact = "@console" // the board's console is being read
	FactDials   Fact = "@dials"   // the board calls its controller and serves nobody
	FactPlanned Fact = "@planned" // the site's plan has the board's settings
)

var facts = []Fact{FactConsole, FactDials, FactPlanned}

// A Moot is what makes a test idle: a fact, or a finding that was seen.
type Moot struct {
	Fact    Fact // "" for a finding
	Finding int  // index
	Value   int  // of it; -1 for any
}

// Idle reports whether a test has nothing to tell where this is known.
func (k *Knowledge) Idle(test int, known []Evidence, s Situation) bool {
	b := &Belief{k: k}
	for _, e := range known {
		b.seen = append(b.seen, e.Observation)
	}
	return b.idle(&k.Tests[test], s)
}

// idle reports whether a test has nothing to tell in this situation.
func (b *Belief) idle(t *Test, s Situation) bool {
	return slices.ContainsFunc(t.Moot, func(m Moot) bool {
		if m.Fact != "" {
			return slices.Contains(s.Facts, m.Fact)
		}
		return slices.ContainsFunc(b.seen, func(o Observation) bool { return o.Finding == m.Finding && (m.Value < 0 || o.Value == m.Value) })
	})
}

// A Choice is what to do next.
type Choice struct {
	Test int // index
	// Gain is by how many minutes the test makes the way to the repair shorter on
	// average, its own cost taken off; Cost is in minutes.
	Gain, Cost float64
}

// Cost is what a test costs in minutes in this situation.
func (k *Knowledge) Cost(test int, s Situation) float64 {
	t := &k.Tests[test]
	if t.Opens && !s.Opened {
		return t.Minutes + k.Model.Open
	}
	return t.Minutes
}

// Next are the tests that are worth doing, the best first: those by which the expected
// cost to repair falls most, two tests ahead. Repairs are tried in falling order of
// probability over cost (Kadane and Simon 1977). A test that would spoil another that
// may still matter is not among them.
func (b *Belief) Next(s Situation) []Choice {
	h := b.hypotheses()
	may := b.open(s)
	at := h.repairCost(h.p)
	type ranked struct {
		Choice
		split *outcomes
	}
	var list []ranked
	for _, t := range may {
		split := h.split(h.p, b.k.Tests[t].Finding, &outcomes{})
		cost := b.k.Cost(t, s)
		list = append(list, ranked{Choice{t, at - cost - h.expected(split), cost}, split})
	}
	slices.SortStableFunc(list, func(x, y ranked) int { return cmp.Compare(y.Gain, x.Gain) })
	var room outcomes
	// Two ahead, for those that one step shows to be of use.
	for i := range list[:min(aheadTests, len(list))] {
		best := 0.0
		for r, p := range list[i].split.p {
			if p <= 0 {
				continue
			}
			after := list[i].split.after[r]
			least := h.repairCost(after)
			for _, t := range may {
				if b.k.Tests[t].Finding == b.k.Tests[list[i].Test].Finding {
					continue
				}
				cost := b.k.Cost(t, s)
				if cost >= least {
					continue
				}
				least = min(least, cost+h.expected(h.split(after, b.k.Tests[t].Finding, &room)))
			}
			best += p * least
		}
		list[i].Gain = at - list[i].Cost - best
	}
	slices.SortStableFunc(list, func(x, y ranked) int { return cmp.Compare(y.Gain, x.Gain) })
	var out []Choice
	for _, c := range list {
		if c.Gain > 0 {
			out = append(out, c.Choice)
		}
	}
	return out
}

// RepairOrder is the order in which causes would be repaired without a further test,
// as indexes (-1 for the check that nothing is wrong), and what that costs on average in
// minutes. Only the states that matter are looked at.
func (b *Belief) RepairOrder() (order []int, minutes float64) {
	h := b.hypotheses()
	minutes = h.repairCost(h.p)
	of := make([]int, len(h.cost))
	for i, r := range h.repairs {
		of[r[0]] = h.states[i][0]
		if r[1] >= 0 {
			of[r[1]] = h.states[i][1]
		}
	}
	for _, r := range h.order {
		order = append(order, of[r])
	}
	return order, minutes
}

// open are the tests that can be done now.
func (b *Belief) open(s Situation) []int {
	seen := make([]bool, len(b.k.Findings))
	for _, o := range b.seen {
		seen[o.Finding] = true
	}
	var may []int
	for t := range b.k.Tests {
		test := &b.k.Tests[t]
		if seen[test.Finding] || s.Done[t] || s.NoConsole && test.Console || s.Minutes > 0 && b.k.Cost(t, s) > s.Minutes || b.idle(test, s) {
			continue
		}
		if slices.ContainsFunc(test.Needs, func(n int) bool { return !s.Done[n] && !seen[b.k.Tests[n].Finding] }) {
			continue
		}
		may = append(may, t)
	}
	p := b.Causes()
	return slices.DeleteFunc(may, func(t int) bool { return b.spoils(t, seen, p, s) })
}

// worthKeeping is how likely a cause must be for the finding that tells of it to be
// kept from being spoilt (judgement).
const worthKeeping = 0.03

// spoils reports whether a test destroys what another test would still see.
func (b *Belief) spoils(t int, seen []bool, p []float64, s Situation) bool {
	for _, f := range b.k.Tests[t].Destroys {
		if seen[f] || !slices.ContainsFunc(b.k.Tests, func(o Test) bool { return o.Finding == f }) {
			continue
		}
		told := 0.0
		for c, d := range b.k.Findings[f].dist {
			if d != nil && c != b.k.other {
				told += p[c]
			}
		}
		if told > worthKeeping {
			return true
		}
	}
	return false
}

// hypotheses are the states that matter for what comes next.
type hypotheses struct {
	k      *Knowledge
	states []state
	p      []float64
	// What there is to repair: for each state one or two of them (-1 for no second), and
	// for each what it costs. The rest is room to work in.
	repairs       [][2]int
	cost          []float64
	weight, until []float64
	order         []int
}

// hypotheses are the most likely states, renormalised.
func (b *Belief) hypotheses() *hypotheses {
	order := make([]int, len(b.p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(b.p[y], b.p[x]) })
	h := &hypotheses{k: b.k}
	sum := 0.0
	for _, i := range order {
		if len(h.states) == aheadStates || sum > aheadMass {
			break
		}
		h.states = append(h.states, b.states[i])
		h.p = append(h.p, b.p[i])
		sum += b.p[i]
	}
	for i := range h.p {
		h.p[i] /= sum
	}
	at := map[int]int{}
	repair := func(c int) int {
		if i, known := at[c]; known {
			return i
		}
		cost := b.k.Model.Check
		if c != noCause {
			cost += b.k.Causes[c].Minutes
		}
		at[c] = len(h.cost)
		h.order = append(h.order, len(h.cost))
		h.cost = append(h.cost, cost)
		return at[c]
	}
	for _, s := range h.states {
		r := [2]int{repair(s[0]), -1}
		if s[1] != noCause && s[1] != s[0] {
			r[1] = repair(s[1])
		}
		h.repairs = append(h.repairs, r)
	}
	h.weight, h.until = make([]float64, len(h.cost)), make([]float64, len(h.cost))
	return h
}

// outcomes are the values that a finding can show, with the belief after each.
type outcomes struct {
	p     []float64
	after [][]float64
}

// split is what a finding can show under a belief over the states. room is filled and
// returned.
func (h *hypotheses) split(belief []float64, finding int, room *outcomes) *outcomes {
	f := &h.k.Findings[finding]
	n := len(f.Values)
	room.p = append(room.p[:0], make([]float64, n)...)
	for len(room.after) < n {
		room.after = append(room.after, nil)
	}
	for v := range n {
		if len(room.after[v]) != len(h.states) {
			room.after[v] = make([]float64, len(h.states))
		}
	}
	for i, s := range h.states {
		if belief[i] == 0 {
			for v := range n {
				room.after[v][i] = 0
			}
			continue
		}
		dist := f.in(s)
		for v := range n {
			w := belief[i] * h.k.slipped(f, dist[v])
			room.after[v][i] = w
			room.p[v] += w
		}
	}
	for v := range n {
		if room.p[v] <= 0 {
			continue
		}
		for i := range room.after[v] {
			room.after[v][i] /= room.p[v]
		}
	}
	return room
}

// expected is the mean cost to repair after a test.
func (h *hypotheses) expected(o *outcomes) float64 {
	sum := 0.0
	for v, p := range o.p {
		if p > 0 {
			sum += p * h.repairCost(o.after[v])
		}
	}
	return sum
}

// repairCost is the expected cost to repair without a further test: causes are repaired
// in falling order of probability over cost until all that is wrong has been. That
// nothing is wrong is one more "repair": the check that shows it.
func (h *hypotheses) repairCost(p []float64) float64 {
	for i := range h.weight {
		h.weight[i] = 0
	}
	for i, r := range h.repairs {
		h.weight[r[0]] += p[i]
		if r[1] >= 0 {
			h.weight[r[1]] += p[i]
		}
	}
	// An insertion sort: the list is short, and nearly in order from one belief to the next.
	order := h.order
	for i := 1; i < len(order); i++ {
		for j := i; j > 0 && h.weight[order[j]]*h.cost[order[j-1]] > h.weight[order[j-1]]*h.cost[order[j]]; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
	sum := 0.0
	for _, r := range order {
		sum += h.cost[r]
		h.until[r] = sum
	}
	total := 0.0
	for i, r := range h.repairs {
		until := h.until[r[0]]
		if r[1] >= 0 {
			until = max(until, h.until[r[1]])
		}
		total += p[i] * until
	}
	return total
}
