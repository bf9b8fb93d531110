package diagnose

import (
	"math"
	"slices"
	"strings"
	"sync"
)

// What nobody's phrases understand may still sound like a cause: its words are compared
// with those that people use of each cause. That is virtual evidence (Pearl 1988, 2.2.2):
// a likelihood for each cause, without a finding of its own, and weak.

// How much a text that sounds just like one cause speaks for it: that many times its odds
// (judgement).
const hintMost = 30.0

// hintBeside is the part of that which words count that were understood already, as an
// exponent (judgement).
const hintBeside = 0.35

// hintSure is the worth of words in common from which on they are taken for sure: about
// three words that are said of a few causes only (judgement).
const hintSure = 9.0

// hintOf is how far so many words in common count: a single one is next to chance,
// however rare it is in the knowledge (judgement).
var hintOf = [...]float64{0, 0.35, 0.75, 1}

// A hint is a likelihood for each cause, and the words that it rests on.
type hint struct {
	like  []float64 // by cause, at least 1
	words [][]string
}

// lexicon are the words of each cause with what each is worth.
type lexicon struct {
	of    []map[string]float64 // 1 for a word that people use of it, less for one of its description
	worth map[string]float64
}

// newLexicon weighs words by how few causes they are said of.
func newLexicon(causes []Cause) *lexicon {
	l := &lexicon{worth: map[string]float64{}}
	count := map[string]int{}
	for _, c := range causes {
		of := map[string]float64{}
		for _, t := range append(words(c.Title), words(c.Meaning)...) {
			if w := stem(t.word); len(w) > 3 {
				of[w] = 0.6
			}
		}
		for _, t := range words(c.Words) {
			if smallWords()[t.word] {
				continue
			}
			if w := stem(t.word); len(w) > 1 || t.num {
				of[w] = 1
			}
		}
		for w := range of {
			count[w]++
		}
		l.of = append(l.of, of)
	}
	for w, n := range count {
		l.worth[w] = math.Log(float64(1+len(causes)) / float64(n))
	}
	return l
}

// smallWords say nothing of a cause.
var smallWords = sync.OnceValue(func() map[string]bool {
	return setOf(`a after all an and any are as at be been before but by can each every for from had has have in into is
it its more most much no nor not of off on only or other our out over own same set so some still than that the their them then
there these they this those to too two under up very was were what when where which while who will with without yet`)
})

func setOf(list string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(list) {
		set[w] = true
	}
	return set
}

// stem takes the common endings off a word.
func stem(w string) string {
	for _, end := range []string{"'s", "ing", "ed", "es", "s"} {
		if t, ok := strings.CutSuffix(w, end); ok && len(t) >= 3 {
			return t
		}
	}
	return w
}

// hint compares a text with all causes; ok is false where it sounds like none.
func (k *Knowledge) hint(text string) (h hint, ok bool) {
	var said []string
	total := 0.0
	for _, t := range words(text) {
		w := stem(t.word)
		if v := k.lexicon.worth[w]; v > 0 && !slices.Contains(said, w) {
			said = append(said, w)
			total += v
		}
	}
	if total == 0 {
		return h, false
	}
	h = hint{like: make([]float64, len(k.Causes)), words: make([][]string, len(k.Causes))}
	sums, best, inCommon := make([]float64, len(k.Causes)), 0.0, 0
	for c := range k.Causes {
		for _, w := range said {
			if v := k.lexicon.of[c][w]; v > 0 {
				sums[c] += v * k.lexicon.worth[w]
				h.words[c] = append(h.words[c], w)
			}
		}
		if sums[c] > best {
			best, inCommon = sums[c], len(h.words[c])
		}
	}
	// One word in common is chance, several rare ones are not; what has less than half of
	// the best in common counts as chance too.
	sure := min(1, best/hintSure) * hintOf[min(inCommon, len(hintOf)-1)]
	for c := range sums {
		h.like[c] = math.Pow(hintMost, sure*max(0, 2*sums[c]/max(best, 1e-9)-1))
	}
	return h, true
}

// Hinted is the belief after texts that were understood as no finding. All of them are
// taken as one, so that saying a thing twice counts once.
func (b *Belief) hinted(h hint) *Belief {
	after := &Belief{k: b.k, states: b.states, log: append([]float64(nil), b.log...), seen: b.seen, like: b.like}
	for i, s := range b.states {
		like := 1.0
		for _, c := range s {
			if c != noCause {
				like = max(like, h.like[c])
			}
		}
		after.log[i] += math.Log(like)
	}
	if !after.normalise() {
		return b
	}
	return after
}
