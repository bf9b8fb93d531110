package diagnose_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"propwright/checklist/diagnose"
)

// A tiny is a small model in plain tables: one fault, tests with a table of likelihoods.
type tiny struct {
	prior, repair []float64
	cost          []float64     // of tests
	like          [][][]float64 // by test, cause, value
}

func newTiny(rng *rand.Rand) tiny {
	m := tiny{}
	causes, tests := 4+rng.IntN(2), 3+rng.IntN(2)
	for range causes {
		m.prior = append(m.prior, 0.5+4*rng.Float64())
		m.repair = append(m.repair, 2+28*rng.Float64())
	}
	for range tests {
		m.cost = append(m.cost, 0.5+5*rng.Float64())
		values := 2 + rng.IntN(2)
		leak := make([]float64, values)
		leak[0] = 0.9
		for v := 1; v < values; v++ {
			leak[v] = 0.1 / float64(values-1)
		}
		var table [][]float64
		for range causes {
			d := slices.Clone(leak)
			if rng.Float64() < 0.6 {
				at := 1 + rng.IntN(values-1)
				p := 0.5 + 0.45*rng.Float64()
				for v := range d {
					d[v] = leak[v] * (1 - p) / (1 - leak[at])
				}
				d[at] = p
			}
			table = append(table, d)
		}
		m.like = append(m.like, table)
	}
	return m
}

func (m tiny) knowledge(t *testing.T) *diagnose.Knowledge {
	var b strings.Builder
	b.WriteString("[model]\nnothing_wrong = 0\npairs = 0.0\nslip = 0.0\nunfamiliar = 0.0\n")
	b.WriteString(strings.Replace(causeText("something-else", 1e-9, 1), "\"a\"", "\"none\"", 1))
	for c := range m.prior {
		b.WriteString(causeText(fmt.Sprintf("c%d", c), m.prior[c], m.repair[c]))
	}
	for f, table := range m.like {
		leak := slices.Clone(table[0])
		for v := range leak {
			leak[v] = 1 / float64(len(leak))
		}
		under := map[string][]float64{}
		for c, d := range table {
			under[fmt.Sprintf("c%d", c)] = d
		}
		b.WriteString(findingText(fmt.Sprintf("f%d", f), leak, under))
		fmt.Fprintf(&b, "[[test]]\nid = \"t%d\"\nfinding = \"f%d\"\nask = \"a\"\nminutes = %.17g\nwhy = \"w\"\n", f, f, m.cost[f])
	}
	k, err := diagnose.Load(diagnose.LoadOptions{Only: fstest.MapFS{"k.toml": {Data: []byte(b.String())}}})
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func (m tiny) start() []float64 { return normal(slices.Clone(m.prior)) }

func normal(p []float64) []float64 {
	sum := 0.0
	for _, v := range p {
		sum += v
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

// after are the outcomes of a test: how likely each is and what is believed then.
func (m tiny) after(p []float64, test int) (w []float64, beliefs [][]float64) {
	for v := range m.like[test][0] {
		q, sum := make([]float64, len(p)), 0.0
		for c := range p {
			q[c] = p[c] * m.like[test][c][v]
			sum += q[c]
		}
		w = append(w, sum)
		if sum > 0 {
			normal(q)
		}
		beliefs = append(beliefs, q)
	}
	return w, beliefs
}

// best is the mean cost of the best plan there is: every test and every repair is tried
// at every point.
func (m tiny) best(p []float64, outcomes []int, repaired int, seen map[string]float64) float64 {
	key := fmt.Sprint(outcomes, repaired)
	if v, ok := seen[key]; ok {
		return v
	}
	least := 1e18
	for c := range p {
		if repaired&(1<<c) != 0 {
			continue
		}
		cost := m.repair[c]
		if left := 1 - p[c]; left > 1e-12 {
			q := slices.Clone(p)
			q[c] = 0
			cost += left * m.best(normal(q), outcomes, repaired|1<<c, seen)
		}
		least = min(least, cost)
	}
	for t := range m.cost {
		if outcomes[t] >= 0 {
			continue
		}
		cost := m.cost[t]
		w, beliefs := m.after(p, t)
		for v := range w {
			if w[v] > 1e-12 {
				o := slices.Clone(outcomes)
				o[t] = v
				cost += w[v] * m.best(beliefs[v], o, repaired, seen)
			}
		}
		least = min(least, cost)
	}
	seen[key] = least
	return least
}

// ours is the mean cost of the moves that the package proposes.
func (m tiny) ours(t *testing.T, k *diagnose.Knowledge, p []float64, seen map[int]int, s diagnose.Situation, depth int) float64 {
	if depth > 20 {
		t.Fatal("it never ends")
	}
	var obs []diagnose.Observation
	for f, v := range seen {
		obs = append(obs, diagnose.Observation{Finding: k.Finding(fmt.Sprintf("f%d", f)), Value: v})
	}
	b, err := k.Prior().Given(obs...)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range s.Repaired {
		b = b.Repaired(c)
	}
	move, ok := b.Move(s)
	if !ok {
		return 0
	}
	if move.Test >= 0 {
		at := k.Tests[move.Test].Finding
		w, beliefs := m.after(p, at)
		cost := m.cost[at]
		for v := range w {
			if w[v] > 1e-12 {
				next := maps.Clone(seen)
				next[at] = v
				cost += w[v] * m.ours(t, k, beliefs[v], next, s, depth+1)
			}
		}
		return cost
	}
	c := -1
	if _, err := fmt.Sscanf(k.Causes[move.Repair].ID, "c%d", &c); err != nil {
		return 0 // "something else": all that is in the model has been repaired
	}
	s.Repaired = append(slices.Clone(s.Repaired), move.Repair)
	cost := m.repair[c]
	if left := 1 - p[c]; left > 1e-12 {
		q := slices.Clone(p)
		q[c] = 0
		cost += left * m.ours(t, k, normal(q), seen, s, depth+1)
	}
	return cost
}

// On small models the moves cost at most 1.15 times what the best plan costs that trying
// everything finds.
func TestMovesAgainstTheBestPlan(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	ours, best, worst := 0.0, 0.0, 0.0
	const models = 40
	for range models {
		m := newTiny(rng)
		k := m.knowledge(t)
		none := make([]int, len(m.cost))
		for i := range none {
			none[i] = -1
		}
		b := m.best(m.start(), none, 0, map[string]float64{})
		o := m.ours(t, k, m.start(), map[int]int{}, diagnose.Situation{}, 0)
		if o < b-1e-6 {
			t.Fatalf("moves cost %.6f, the best plan %.6f: one of them is wrong", o, b)
		}
		ours, best, worst = ours+o, best+b, max(worst, o/b)
	}
	t.Logf("%d small models: mean cost %.2f min, best plan %.2f min, ratio %.3f, worst %.3f", models, ours/models, best/models, ours/best, worst)
	if ours > 1.15*best {
		t.Errorf("mean cost %.3f times that of the best plan, want 1.15 at most", ours/best)
	}
}
