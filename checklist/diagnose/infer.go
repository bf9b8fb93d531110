package diagnose

import (
	"errors"
	"math"
)

// An Observation is a finding that was seen: its index and that of its value.
type Observation struct{ Finding, Value int }

// noisyMax is the distribution of a finding under several causes: each cause by itself
// can only push it further down its values, and the leak is one more of them. With two
// values this is the leaky noisy-OR (Pearl 1988, p. 184). A cause under which the usual
// value is more frequent than by the leak holds the others back; the sums are kept
// between 0 and 1 and rising then.
func noisyMax(leak []float64, under ...[]float64) []float64 {
	out := make([]float64, len(leak))
	var leaked float64
	sums := make([]float64, len(under))
	before := 0.0
	for v := range leak {
		leaked += leak[v]
		all := leaked
		for i, d := range under {
			if d == nil {
				continue
			}
			sums[i] += d[v]
			if leaked > 0 {
				all *= sums[i] / leaked
			}
		}
		if v == len(leak)-1 {
			all = 1
		}
		all = min(max(all, before), 1)
		out[v] = all - before
		before = all
	}
	return out
}

// Likelihood is how likely a value of a finding is where just these causes are at
// work, slips included.
func (k *Knowledge) Likelihood(o Observation, causes ...int) float64 {
	f := &k.Findings[o.Finding]
	var p float64
	switch len(causes) {
	case 0:
		p = f.leak[o.Value]
	case 1:
		p = f.under(causes[0])[o.Value]
	default:
		under := make([][]float64, len(causes))
		for i, c := range causes {
			under[i] = f.dist[c]
		}
		p = noisyMax(f.leak, under...)[o.Value]
	}
	return k.slipped(f, p)
}

// slipped allows for a wrong observation: the model's share of them, or the finding's own.
func (k *Knowledge) slipped(f *Finding, p float64) float64 {
	slip := k.Model.Slip
	if f.slip >= 0 {
		slip = f.slip
	}
	return (1-slip)*p + slip/float64(len(f.Values))
}

// under is the finding's distribution under one cause.
func (f *Finding) under(c int) []float64 {
	if f.dist[c] == nil {
		return f.leak
	}
	return f.dist[c]
}

// noCause stands in a state where a cause is not.
const noCause = -1

// A state is what is wrong: nothing, one cause or two. "Something else" is two states:
// one that shows unfamiliar things, and, as the cause twice, one that shows nothing
// unusual, so that a clean round of tests does not speak against it.
type state [2]int

// in is the finding's distribution in a state.
func (f *Finding) in(s state) []float64 {
	switch {
	case s[0] == noCause:
		return f.leak
	case s[0] == s[1]:
		return f.other
	case s[1] == noCause || f.dist[s[1]] == nil:
		return f.under(s[0])
	case f.dist[s[0]] == nil:
		return f.dist[s[1]]
	}
	return noisyMax(f.leak, f.dist[s[0]], f.dist[s[1]])
}

// A Belief is how likely each state is. It is not changed after it is made.
type Belief struct {
	k      *Knowledge
	states []state
	log    []float64 // of the unnormalised weight
	seen   []Observation
	like   [][]float64 // by observation and state, log
	p      []float64   // by state, sums to 1
}

// errImpossible is evidence that no state can bring about.
var errImpossible = errors.New("what was seen cannot be under any cause, none included; a slip over 0 in [model] allows for errors")

// Prior is what is believed before anything is seen.
func (k *Knowledge) Prior() *Belief {
	n := len(k.Causes)
	b := &Belief{k: k, states: make([]state, 0, 2+n+n*(n-1)/2)}
	sum, squares := 0.0, 0.0
	for _, c := range k.Causes {
		sum += c.Prior
		squares += c.Prior * c.Prior
	}
	add := func(s state, weight float64) {
		b.states = append(b.states, s)
		b.log = append(b.log, math.Log(weight))
	}
	add(state{noCause, noCause}, k.Model.NothingWrong)
	share := k.Model.Pairs
	for i, c := range k.Causes {
		weight := c.Prior * (1 - share)
		if i == k.other {
			weight /= 2
			add(state{i, i}, weight)
		}
		add(state{i, noCause}, weight)
	}
	// Pairs are as frequent as the model says, and among themselves as independent
	// causes would be.
	if all := sum*sum - squares; all > 0 && share > 0 {
		for i, c := range k.Causes {
			for j := i + 1; j < n; j++ {
				add(state{i, j}, sum*share*2*c.Prior*k.Causes[j].Prior/all)
			}
		}
	}
	b.normalise()
	return b
}

// normalise turns logarithms of weights into probabilities and reports whether any
// state is left.
func (b *Belief) normalise() bool {
	most := math.Inf(-1)
	for _, w := range b.log {
		most = max(most, w)
	}
	if math.IsInf(most, -1) || math.IsNaN(most) {
		return false
	}
	b.p = make([]float64, len(b.log))
	sum := 0.0
	for i, w := range b.log {
		b.p[i] = math.Exp(w - most)
		sum += b.p[i]
	}
	for i := range b.p {
		b.p[i] /= sum
	}
	return true
}

// Given is the belief after more was seen. An error means that the evidence cannot be.
func (b *Belief) Given(seen ...Observation) (*Belief, error) {
	after := &Belief{k: b.k, states: b.states, log: append([]float64(nil), b.log...)}
	after.seen = append(append([]Observation(nil), b.seen...), seen...)
	after.like = append([][]float64(nil), b.like...)
	for _, o := range seen {
		like := b.k.logLikelihoods(b.states, o)
		for i := range like {
			after.log[i] += like[i]
		}
		after.like = append(after.like, like)
	}
	if !after.normalise() {
		return nil, errImpossible
	}
	return after, nil
}

// logLikelihoods are those of one observation under each state.
func (k *Knowledge) logLikelihoods(states []state, o Observation) []float64 {
	f := &k.Findings[o.Finding]
	like := make([]float64, len(states))
	single := make([]float64, len(k.Causes))
	for c := range single {
		single[c] = math.Log(k.slipped(f, f.under(c)[o.Value]))
	}
	none := math.Log(k.slipped(f, f.leak[o.Value]))
	for i, s := range states {
		switch {
		case s[0] == noCause:
			like[i] = none
		case s[0] != s[1] && (s[1] == noCause || f.dist[s[1]] == nil):
			like[i] = single[s[0]]
		case s[0] != s[1] && f.dist[s[0]] == nil:
			like[i] = single[s[1]]
		default:
			like[i] = math.Log(k.slipped(f, f.in(s)[o.Value]))
		}
	}
	return like
}

// Cause is how likely it is that a cause is at work, alone or with another.
func (b *Belief) Cause(c int) float64 {
	p := 0.0
	for i, s := range b.states {
		if s[0] == c || s[1] == c {
			p += b.p[i]
		}
	}
	return min(p, 1)
}

// Causes are the probabilities of all causes, by index.
func (b *Belief) Causes() []float64 { return marginals(len(b.k.Causes), b.states, b.p) }

func marginals(n int, states []state, p []float64) []float64 {
	out := make([]float64, n)
	for i, s := range states {
		if s[0] != noCause {
			out[s[0]] += p[i]
		}
		if s[1] != noCause && s[1] != s[0] {
			out[s[1]] += p[i]
		}
	}
	for c := range out {
		out[c] = min(out[c], 1) // rounding
	}
	return out
}

// Nothing is how likely it is that nothing is wrong.
func (b *Belief) Nothing() float64 { return b.p[0] }

// repairFails is how often a repair that was made does not cure what it was for
// (judgement).
const repairFails = 0.1

// Repaired is the belief after a cause was repaired and the fault stayed.
func (b *Belief) Repaired(cause int) *Belief {
	after := &Belief{k: b.k, states: b.states, log: append([]float64(nil), b.log...), seen: b.seen, like: b.like}
	for i, s := range b.states {
		if s[0] == cause && (s[1] == noCause || s[1] == cause) {
			after.log[i] += math.Log(repairFails)
		}
	}
	if !after.normalise() {
		return b
	}
	return after
}

// without is the belief's probabilities had one of its observations not been made.
func (b *Belief) without(observation int) []float64 {
	less := Belief{log: append([]float64(nil), b.log...)}
	for i, v := range b.like[observation] {
		less.log[i] -= v
	}
	if !less.normalise() {
		return b.p
	}
	return less.p
}
