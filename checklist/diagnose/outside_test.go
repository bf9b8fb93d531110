package diagnose_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"propwright/checklist/diagnose"
)

// small loads a knowledge of the test's own. "Something else" must be there; it is made
// too rare to count.
func small(t testing.TB, nothing float64, slip string, text string) *diagnose.Knowledge {
	t.Helper()
	head := fmt.Sprintf(`[model]
nothing_wrong = %g
pairs = 0.0
slip = %s
[[cause]]
id = "something-else"
title = "s"
area = "none"
prior = 1e-12
basis = ["test"]
remedy = "r"
minutes = 1
`, nothing, slip)
	return knowledge(t, diagnose.LoadOptions{Only: fstest.MapFS{"k.toml": {Data: []byte(head + text)}}})
}

func causeText(id string, prior, minutes float64) string {
	return fmt.Sprintf("[[cause]]\nid = %q\ntitle = \"t\"\narea = \"a\"\nprior = %g\nbasis = [\"test\"]\nremedy = \"r\"\nminutes = %g\n", id, prior, minutes)
}

func findingText(id string, leak []float64, under map[string][]float64) string {
	var b strings.Builder
	fmt.Fprintf(&b, "[[finding]]\nid = %q\nabout = \"f\"\nbasis = [\"test\"]\nvalues = [\n", id)
	for v, p := range leak {
		fmt.Fprintf(&b, "{id=\"v%d\", leak=%.17g, tell=\"x\"},\n", v, p)
	}
	b.WriteString("]\nunder = [\n")
	for c, d := range under {
		fmt.Fprintf(&b, "{causes=[%q], p={", c)
		for v, p := range d {
			if v > 0 {
				b.WriteString(", ")
			}
			fmt.Fprintf(&b, "v%d=%.17g", v, p)
		}
		b.WriteString("}, basis=[\"test\"]},\n")
	}
	b.WriteString("]\n")
	return b.String()
}

func posterior(t *testing.T, k *diagnose.Knowledge, cause string, seen ...diagnose.Observation) float64 {
	t.Helper()
	b, err := k.Prior().Given(seen...)
	if err != nil {
		t.Fatal(err)
	}
	return b.Cause(k.Cause(cause))
}

// Textbook exercises of Bayes' rule. The first is the classic one of course pages:
// prevalence 1 %, hit rate 80 %, false alarms 9.6 %, printed 7.8 %. The second is printed
// 0.083 in course notes for 0.0001, 0.90, 0.001. The third is worked by hand: priors .5 .3
// .2, likelihoods .1 .7 .4, so 5/34, 21/34 and 8/34.
func TestBayesRuleAsInTextbooks(t *testing.T) {
	tests := map[string]struct {
		prior, hit, alarm, want, within float64
	}{
		"prevalence 1 %":   {0.01, 0.80, 0.096, 0.077640, 1e-6},
		"prevalence 1 bp":  {0.0001, 0.90, 0.001, 0.083, 1e-3},
		"prevalence 1 bp'": {0.0001, 0.90, 0.001, 0.082576, 1e-6},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			k := small(t, 100*(1-tt.prior), "0.0", causeText("ill", 100*tt.prior, 1)+
				findingText("sign", []float64{1 - tt.alarm, tt.alarm}, map[string][]float64{"ill": {1 - tt.hit, tt.hit}}))
			if got := posterior(t, k, "ill", diagnose.Observation{Finding: 0, Value: 1}); math.Abs(got-tt.want) > tt.within {
				t.Errorf("posterior %.6f, want %.6f", got, tt.want)
			}
		})
	}
	k := small(t, 0, "0.0", causeText("a", 50, 1)+causeText("b", 30, 1)+causeText("c", 20, 1)+
		findingText("sign", []float64{0.5, 0.5}, map[string][]float64{"a": {0.9, 0.1}, "b": {0.3, 0.7}, "c": {0.6, 0.4}}))
	for id, want := range map[string]float64{"a": 5.0 / 34, "b": 21.0 / 34, "c": 8.0 / 34} {
		if got := posterior(t, k, id, diagnose.Observation{Finding: 0, Value: 1}); math.Abs(got-want) > 1e-6 {
			t.Errorf("%s: posterior %.6f, want %.6f", id, got, want)
		}
	}
}

// The noisy-OR table of Russell and Norvig, Artificial Intelligence, ch. 14: fever under
// cold, flu and malaria with inhibitions .6, .2, .1 and no leak; and the leaky one of the
// formula in Pearl 1988, p. 184: leak .1, strengths .2 and .4, so 1 - .9*.8*.6.
func TestNoisyOrAsInTextbooks(t *testing.T) {
	k := small(t, 50, "0.0", causeText("cold", 1, 1)+causeText("flu", 1, 1)+causeText("malaria", 1, 1)+
		findingText("fever", []float64{1, 0}, map[string][]float64{"cold": {0.6, 0.4}, "flu": {0.2, 0.8}, "malaria": {0.1, 0.9}}))
	fever := diagnose.Observation{Finding: 0, Value: 1}
	for _, row := range []struct {
		causes []string
		want   float64
	}{
		{nil, 0}, {[]string{"malaria"}, 0.9}, {[]string{"flu"}, 0.8}, {[]string{"flu", "malaria"}, 0.98}, {[]string{"cold"}, 0.4},
		{[]string{"cold", "malaria"}, 0.94}, {[]string{"cold", "flu"}, 0.88}, {[]string{"cold", "flu", "malaria"}, 0.988},
	} {
		var at []int
		for _, c := range row.causes {
			at = append(at, k.Cause(c))
		}
		if got := k.Likelihood(fever, at...); math.Abs(got-row.want) > 1e-9 {
			t.Errorf("%v: %.9f, want %g", row.causes, got, row.want)
		}
	}
	leaky := small(t, 50, "0.0", causeText("a", 1, 1)+causeText("b", 1, 1)+
		findingText("sign", []float64{0.9, 0.1}, map[string][]float64{"a": {0.9 * 0.8, 1 - 0.9*0.8}, "b": {0.9 * 0.6, 1 - 0.9*0.6}}))
	if got := leaky.Likelihood(fever, leaky.Cause("a"), leaky.Cause("b")); math.Abs(got-0.568) > 1e-9 {
		t.Errorf("leaky: %.9f, want 0.568", got)
	}
}

// The order of falling probability over cost (Kadane and Simon 1977), on the worked
// example of troubleshooting_order.csv: order 3, 2, 1, 4 at a mean cost of 7.8, which is
// the least of all 24 orders.
func TestRepairOrderIsThatOfProbabilityOverCost(t *testing.T) {
	text, err := os.ReadFile("../../testdata/tables/troubleshooting_order.csv")
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(text)))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	causes := ""
	var p, cost []float64
	for _, row := range rows[1:] {
		x, _ := strconv.ParseFloat(row[1], 64)
		c, _ := strconv.ParseFloat(row[2], 64)
		p, cost = append(p, x), append(cost, c)
		causes += causeText("f"+row[0], 100*x, c)
	}
	k := small(t, 0, "0.0", causes+findingText("x", []float64{1, 0}, nil))
	order, minutes := k.Prior().RepairOrder()
	var got []string
	for _, c := range order {
		if c >= 0 && k.Causes[c].ID != diagnose.SomethingElse {
			got = append(got, k.Causes[c].ID)
		}
	}
	if want := "f3 f2 f1 f4"; strings.Join(got, " ") != want || math.Abs(minutes-7.8) > 1e-9 {
		t.Errorf("order %v at %.9f, want %s at 7.8", got, minutes, want)
	}
	least := math.Inf(1)
	permute(len(p), func(order []int) {
		sum, left := 0.0, 1.0
		for _, i := range order {
			sum += cost[i] * left
			left -= p[i]
		}
		least = min(least, sum)
	})
	if math.Abs(minutes-least) > 1e-9 {
		t.Errorf("mean cost %.9f; the best of all orders has %.9f", minutes, least)
	}
}

func permute(n int, yield func([]int)) {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	var walk func(int)
	walk = func(at int) {
		if at == n {
			yield(order)
			return
		}
		for i := at; i < n; i++ {
			order[at], order[i] = order[i], order[at]
			walk(at + 1)
			order[at], order[i] = order[i], order[at]
		}
	}
	walk(0)
}

// A network is a random small model: causes by their priors, "something else" last, and
// what each cause contributes to a finding by itself.
type network struct {
	Prior   []float64     `json:"prior"`
	Nothing float64       `json:"nothing"`
	Pairs   float64       `json:"pairs"`
	Slip    float64       `json:"slip"`
	Values  []int         `json:"values"` // of each finding
	Own     [][][]float64 `json:"own"`    // by finding and cause, the leak last; nil has no hand in it
	Seen    []int         `json:"seen"`   // the value of each finding
}

// randomNetwork draws a network. "Something else" contributes nothing in it.
func randomNetwork(rng *rand.Rand) network {
	causes, findings := 3+rng.IntN(4), 2+rng.IntN(4)
	n := network{Prior: make([]float64, causes), Values: make([]int, findings), Own: make([][][]float64, findings)}
	for c := range n.Prior {
		n.Prior[c] = 0.5 + 9*rng.Float64()
	}
	n.Nothing, n.Pairs, n.Slip = 20*rng.Float64(), 0.3*rng.Float64(), 0.1*rng.Float64()
	n.Prior = append(n.Prior, 0.5+rng.Float64())
	for f := range findings {
		n.Values[f] = 2 + rng.IntN(3)
		n.Own[f] = make([][]float64, causes+1)
		for c := range n.Own[f] {
			n.Own[f][c] = distribution(rng, n.Values[f])
			if c < causes && rng.Float64() < 0.3 {
				n.Own[f][c] = nil
			}
		}
	}
	for f := range findings {
		n.Seen = append(n.Seen, rng.IntN(n.Values[f]))
	}
	return n
}

// posterior is what the package makes of a network and its findings: how likely nothing
// is wrong, and each cause but "something else".
func (n network) posterior(t *testing.T) (nothing float64, causes []float64) {
	t.Helper()
	text := fmt.Sprintf("[model]\nnothing_wrong = %.17g\npairs = %.17g\nslip = %.17g\nunfamiliar = 0.0\n", n.Nothing, n.Pairs, n.Slip)
	other := len(n.Prior) - 1
	for c, p := range n.Prior {
		cause := causeText(fmt.Sprintf("c%d", c), p, 1)
		if c == other {
			cause = strings.Replace(causeText("something-else", p, 1), "\"a\"", "\"none\"", 1)
		}
		text += strings.Replace(cause, fmt.Sprintf("prior = %g", p), fmt.Sprintf("prior = %.17g", p), 1)
	}
	var seen []diagnose.Observation
	for f, own := range n.Own {
		under := map[string][]float64{}
		for c := range other {
			if own[c] != nil {
				under[fmt.Sprintf("c%d", c)] = greatest(n.Values[f], own[other], own[c])
			}
		}
		text += findingText(fmt.Sprintf("f%d", f), own[other], under)
		seen = append(seen, diagnose.Observation{Finding: f, Value: n.Seen[f]})
	}
	k := knowledge(t, diagnose.LoadOptions{Only: fstest.MapFS{"k.toml": {Data: []byte(text)}}})
	b, err := k.Prior().Given(seen...)
	if err != nil {
		t.Fatal(err)
	}
	for c := range other {
		causes = append(causes, b.Cause(k.Cause(fmt.Sprintf("c%d", c))))
	}
	return b.Nothing(), causes
}

// Random networks against plain enumeration: every state by itself, and a finding under
// several causes as the greatest of what each contributes by itself, summed over all
// ways in which they can contribute. Nothing of the package's own arithmetic is used.
func TestPosteriorEqualsEnumeration(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	for trial := range 60 {
		n := randomNetwork(rng)
		other := len(n.Prior) - 1
		weight := func(set ...int) float64 {
			w := 1.0
			for f, value := range n.Seen {
				parts := [][]float64{n.Own[f][other]}
				for _, c := range set {
					if c < other && n.Own[f][c] != nil {
						parts = append(parts, n.Own[f][c])
					}
				}
				p := greatest(n.Values[f], parts...)[value]
				w *= (1-n.Slip)*p + n.Slip/float64(n.Values[f])
			}
			return w
		}
		sum, squares := 0.0, 0.0
		for _, p := range n.Prior {
			sum, squares = sum+p, squares+p*p
		}
		total := n.Nothing * weight()
		none := total
		of := make([]float64, len(n.Prior))
		for c, p := range n.Prior {
			w := p * (1 - n.Pairs) * weight(c)
			total += w
			of[c] += w
			for d := c + 1; d < len(n.Prior); d++ {
				w := sum * n.Pairs * 2 * p * n.Prior[d] / (sum*sum - squares) * weight(c, d)
				total += w
				of[c] += w
				of[d] += w
			}
		}
		nothing, causes := n.posterior(t)
		if math.Abs(nothing-none/total) > 1e-9 {
			t.Fatalf("trial %d: nothing wrong %.12f, want %.12f", trial, nothing, none/total)
		}
		for c, got := range causes {
			if want := of[c] / total; math.Abs(got-want) > 1e-9 {
				t.Fatalf("trial %d: cause %d: %.12f, want %.12f", trial, c, got, want)
			}
		}
	}
}

func distribution(rng *rand.Rand, n int) []float64 {
	p, sum := make([]float64, n), 0.0
	for i := range p {
		p[i] = 0.02 + rng.Float64()
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

// greatest is the distribution of the greatest of independent values, summed over all
// ways in which they can fall.
func greatest(n int, parts ...[]float64) []float64 {
	out := make([]float64, n)
	var walk func(part, most int, p float64)
	walk = func(part, most int, p float64) {
		if part == len(parts) {
			out[most] += p
			return
		}
		for v, q := range parts[part] {
			walk(part+1, max(most, v), p*q)
		}
	}
	walk(0, 0, 1)
	return out
}
