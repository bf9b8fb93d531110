package diagnose

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// heard is an answer's question and what was answered.
type heard struct{ question, answer bag }

// understood is what an answer was taken for.
type understood struct {
	Observation
	score int
}

// hear finds the findings that an answer is about, the best value of each: the question
// by its words, the value by those of the answer. Where nothing is found so, question
// and answer are read as one text, and only what is out of the ordinary counts.
func (k *Knowledge) hear(h heard) []understood {
	h.answer = noFault(h.answer)
	out := k.match(h.question, mainClause(h.answer), 0)
	if len(out) == 0 {
		out = k.match(h.question, h.answer, 0)
	}
	if len(out) == 0 {
		both := append(slices.Clone(h.question), h.answer...)
		if out = k.match(h.question, both, 1); len(out) == 0 {
			out = k.match(both, both, 1)
		}
	}
	out = append(out, k.coilNumbers(h)...)
	out = append(out, k.rates(h)...)
	out = append(out, k.places(h)...)
	out = append(out, k.spans(h)...)
	return append(out, k.lampColours(h)...)
}

// mainClause is an answer up to what it is set against: "answers while the text says no
// cable" says that it answers.
func mainClause(b bag) bag {
	for i, t := range b {
		switch t.word {
		case "while", "whereas", "although", "though":
			if i > 0 {
				return b[:i]
			}
		}
	}
	return b
}

// sure is the score of what an answer's figures or listed words say outright.
const sure = 20

// surely is a finding's value that was said outright; nothing where there is none such.
func (k *Knowledge) surely(f int, value string) []understood {
	if f < 0 || k.Findings[f].Value(value) < 0 {
		return nil
	}
	return []understood{{Observation{f, k.Findings[f].Value(value)}, sure}}
}

// opposites of lamp colours: what an inverted lamp shows.
var opposites = map[string]string{
	"red": "cyan", "green": "magenta", "blue": "yellow", "cyan": "red", "magenta": "green", "purple": "green",
	"yellow": "blue", "off": "white", "dark": "white", "white": "off",
}

// lampColours compares the colour that should be with the one that is.
func (k *Knowledge) lampColours(h heard) []understood {
	f := k.Finding("lamp")
	if f < 0 {
		return nil
	}
	colour := func(b bag) (name string, n int) {
		for _, t := range b {
			if _, is := opposites[t.word]; is && t.word != name {
				name, n = t.word, n+1
			}
		}
		return name, n
	}
	want, n := colour(h.question)
	is, m := colour(h.answer)
	if n != 1 || m != 1 || want == is {
		return nil
	}
	value := "one-wrong"
	if opposites[want] == is || opposites[is] == want {
		value = "inverted"
	}
	return k.surely(f, value)
}

// match finds findings by words for the question and for the answer, among values from
// one on.
func (k *Knowledge) match(question, answer bag, from int) []understood {
	var out []understood
	for f := range k.Findings {
		finding := &k.Findings[f]
		asked := bestOf(finding.asks, question)
		if asked == 0 || from > 0 && finding.Action {
			continue
		}
		best := understood{Observation: Observation{f, -1}}
		if v := finding.told(answer); v >= from {
			best = understood{Observation{f, v}, asked*2 + sure}
		}
		for v := from; v < len(finding.Values); v++ {
			if n := bestOf(finding.Values[v].says, answer); n > 0 && asked*2+n >= best.score {
				best = understood{Observation{f, v}, asked*2 + n}
			}
		}
		if best.Value >= 0 {
			out = append(out, best)
		}
	}
	slices.SortStableFunc(out, func(a, b understood) int { return cmp.Compare(b.score, a.score) })
	return out
}

// noFault reads "no fault", "no errors" and the like as one word for good.
func noFault(b bag) bag {
	out := make(bag, 0, len(b))
	for i := 0; i < len(b); i++ {
		if (b[i].word == "no" || b[i].word == "never") && i+1 < len(b) && faultWords.holdsAny(b[i+1:i+2]) {
			out = append(out, token{word: "fine"})
			i++
			continue
		}
		out = append(out, b[i])
	}
	return out
}

var (
	faultWords = mustPhrases("fault*|error*|problem*|trouble|misses|ghost*|restart*|more|false|failure*|crash*|time|timeout*")
	lampItself = mustPhrases("lamp*|led|light|colours|rgb")
	badWords   = mustPhrases("no|not|none|never|same|still|unchanged|fails")
	// What a coil moves, and that another moves in its place.
	outputWords = mustPhrases("door|doors|lock|locks|lamp|output|relay|light|effect|prop|flap|drawer")
	insteadOf   = mustPhrases("instead|in_place_of|rather_than|not_the|but")
	coilWords   = mustPhrases("coil*|output*|register*|bit|bits")
)

// coilNumbers compares two numbers of coils that an answer holds.
func (k *Knowledge) coilNumbers(h heard) []understood {
	f, base := k.Finding("coil"), k.Finding("number-base")
	both := append(slices.Clone(h.question), h.answer...)
	if f < 0 || !coilWords.holdsAny(h.question) && !(outputWords.holdsAny(both) && insteadOf.holdsAny(both)) {
		return nil
	}
	var ns []int
	for _, t := range both {
		if t.num && t.n == float64(int(t.n)) && (len(ns) == 0 || ns[len(ns)-1] != int(t.n)) {
			ns = append(ns, int(t.n))
		}
	}
	if len(ns) != 2 {
		return nil
	}
	lo, hi := min(ns[0], ns[1]), max(ns[0], ns[1])
	switch {
	case asHex(lo) == hi:
		return append(k.surely(f, "far"), k.surely(base, "unlike")...)
	case hi-lo == 1:
		return k.surely(f, "neighbour")
	}
	return nil
}

// rates compares two serial rates that an answer holds: where one is twice the other the
// board's clock may be another.
func (k *Knowledge) rates(h heard) []understood {
	f := k.Finding("rate")
	if f < 0 {
		return nil
	}
	var of []int
	for _, t := range append(slices.Clone(h.question), h.answer...) {
		if n := int(t.n); t.num && slices.Contains(serialRates, n) && !slices.Contains(of, n) {
			of = append(of, n)
		}
	}
	if len(of) != 2 {
		return nil
	}
	value := "other"
	if lo, hi := min(of[0], of[1]), max(of[0], of[1]); hi == 2*lo {
		value = "half-or-double"
	}
	return k.surely(f, value)
}

// places compares how many tags are stored with how many places there are, as in 32 of 30.
func (k *Knowledge) places(h heard) []understood {
	f := k.Finding("list-size")
	both := append(slices.Clone(h.question), h.answer...)
	if f < 0 || !placesOf.holdsAny(both) {
		return nil
	}
	for i := 0; i+2 < len(both); i++ {
		a, of, b := both[i], both[i+1].word, both[i+2]
		if !a.num || !b.num || of != "of" && of != "for" || b.n < leastPlaces {
			continue
		}
		value := "within"
		if a.n > b.n {
			value = "beyond"
		}
		return k.surely(f, value)
	}
	return nil
}

// spans compares the time that something should take with the one that it takes.
func (k *Knowledge) spans(h heard) []understood {
	f := k.Finding("delays")
	if f < 0 || !paceWords.holdsAny(h.question) {
		return nil
	}
	want, is := spanIn(h.question), spanIn(h.answer)
	if want <= 0 || is <= 0 {
		return nil
	}
	value := "right"
	if is >= offPace*want || want >= offPace*is {
		value = "factor"
	}
	return k.surely(f, value)
}

// offPace is by how much a clock must be off to be another than it was built for: the
// common ones are factors of two apart (8, 16 and 20 MHz; judgement).
const offPace = 1.2

// paceWords are of what firmware does in even time.
var paceWords = mustPhrases("blink*|beat|heartbeat|second_line|tick*|pulse|every|line|lamp|delay|clock|counter|timer")

// spanIn is the first time in seconds that a text holds, 0 for none.
func spanIn(b bag) float64 {
	for i := 0; i+1 < len(b); i++ {
		if base, factor := unitOf(b[i+1].word); b[i].num && base == "s" {
			return b[i].n * factor
		}
	}
	return 0
}

// serialRates are those that text of today's boards is sent at.
var serialRates = []int{4800, 9600, 14400, 19200, 28800, 38400, 57600, 74880, 76800, 115200, 230400, 250000, 500000, 1000000}

// asHex is a number whose decimal digits are read as hexadecimal ones.
func asHex(n int) int {
	v, err := strconv.ParseInt(strconv.Itoa(n), 16, 32)
	if err != nil {
		return -1
	}
	return int(v)
}

// mostFromOne is how many findings one answer may speak for.
const mostFromOne = 3

// An Answer is what a person told, and what it was taken for.
type Answer struct {
	Told     string     // as it was given
	Evidence []Evidence // empty where it was not understood
	Repaired int        // a cause that was repaired without cure, -1 for none
	Cured    bool       // a repair was told to have cured
}

// Understood reports whether the answer was taken for anything.
func (a Answer) Understood() bool { return len(a.Evidence) > 0 || a.Repaired >= 0 || a.Cured }

// ErrNoResult is an answer without a result.
var ErrNoResult = errors.New("want TEST=RESULT, such as ping=none or \"other wires=no change\"")

// Answer takes one answer, TEST=RESULT: a test's or finding's id and a value's, or both
// in plain words; a cause's id=no tells of a repair that did not cure. What it was taken for is in its evidence, to be read back; none where
// it was not understood.
func (k *Knowledge) Answer(text string) (Answer, error) {
	q, a, ok := strings.Cut(text, "=")
	q, a = strings.TrimSpace(q), strings.TrimSpace(a)
	if !ok || q == "" || a == "" {
		return Answer{}, fmt.Errorf("answer %q: %w", text, ErrNoResult)
	}
	out := Answer{Told: text, Repaired: noCause}
	if c := k.Cause(q); c >= 0 && k.named(q) < 0 {
		if badWords.holdsAny(words(a)) {
			out.Repaired = c
		} else {
			out.Cured = true
		}
		return out, nil
	}
	add := func(o Observation) {
		out.Evidence = append(out.Evidence, Evidence{Observation: o, From: FromAnswer, Text: text, rank: rankAnswer})
	}
	named := k.named(q)
	if named >= 0 {
		f := &k.Findings[named]
		if v := f.Value(strings.ToLower(a)); v >= 0 {
			add(Observation{named, v})
			out.Evidence[0].Exact = true
			return out, nil
		}
		v := f.said(mainClause(words(a)))
		if v < 0 {
			v = f.said(words(a))
		}
		if v >= 0 {
			add(Observation{named, v})
		}
	}
	list := slices.DeleteFunc(k.hear(heard{words(q), words(a)}), func(u understood) bool { return u.Finding == named })
	if f := k.Finding("lamp"); f >= 0 && !lampItself.holdsAny(words(q)) {
		// One colour that is right says little of the lamp.
		list = slices.DeleteFunc(list, func(u understood) bool { return u.Finding == f && u.Value == 0 })
	}
	slices.SortStableFunc(list, func(a, b understood) int { return cmp.Compare(b.score, a.score) })
	for i, u := range list {
		if i == mostFromOne || u.score*2 < list[0].score {
			break
		}
		add(u.Observation)
	}
	return out, nil
}

// named is the finding of a test's or a finding's id, or of what a finding is about in the
// words in which answers are read back; -1 for none.
func (k *Knowledge) named(id string) int {
	if t := k.Test(id); t >= 0 {
		return k.Tests[t].Finding
	}
	if f := k.Finding(id); f >= 0 {
		return f
	}
	b := words(id)
	return slices.IndexFunc(k.Findings, func(f Finding) bool { return f.About != "" && slices.Equal(words(f.About), b) })
}

// told is the value whose own words, as they are shown, an answer repeats: all of them,
// or two and more side by side within it, the longest; -1 for none.
func (f *Finding) told(b bag) int {
	best, longest := -1, 0
	for v := range f.Values {
		tell := words(f.Values[v].Tell)
		if n := len(tell); n > longest && n <= len(b) && (n > 1 || len(b) == 1) && b.contains(tell) {
			best, longest = v, n
		}
	}
	return best
}

// contains reports whether the tokens of part stand side by side in b.
func (b bag) contains(part bag) bool {
	for i := 0; i+len(part) <= len(b); i++ {
		if slices.Equal(b[i:i+len(part)], part) {
			return true
		}
	}
	return false
}

// said is the value that an answer's words speak for, -1 for none. A number chooses
// from the list as it is shown.
func (f *Finding) said(b bag) int {
	if v := f.told(b); v >= 0 {
		return v
	}
	best, score := -1, 0
	for v := range f.Values {
		if n := bestOf(f.Values[v].says, b); n > score {
			best, score = v, n
		}
	}
	if best < 0 && len(b) == 1 && b[0].num {
		if n := int(b[0].n); n >= 1 && n <= len(f.Values) {
			return n - 1
		}
	}
	return best
}

// Choose is the value of a finding that an answer speaks for: its id, its number from 1,
// or plain words; -1 for none.
func (f *Finding) Choose(text string) int {
	if v := f.Value(strings.ToLower(strings.TrimSpace(text))); v >= 0 {
		return v
	}
	b := words(text)
	if len(b) == 1 && b[0].num {
		if n := int(b[0].n); n >= 1 && n <= len(f.Values) {
			return n - 1
		}
	}
	return f.said(b)
}
