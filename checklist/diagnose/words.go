package diagnose

import (
	"fmt"
	"strconv"
	"strings"
)

// maxText bounds what of one text is looked at for words.
const maxText = 2048

// A phrase is a set of terms that a text must hold, in any order: words apart by
// blanks. A word may be several, apart by |; one that ends in * stands for all that
// begin so; a_b wants the two side by side; !a wants none of it; @name is a list of
// [words]; #V<3.1 is a number with that unit below a limit (units V, m, s, and n for
// none; < > =).
type phrase struct {
	terms []term
	text  string
}

type term struct {
	not bool
	any []alternative
}

// An alternative is words side by side, or a number with a unit.
type alternative struct {
	words []string // a trailing * is kept
	unit  string   // not "" for a number
	op    byte
	limit float64
}

// parsePhrase reads a phrase as the knowledge file has it.
func parsePhrase(text string, sets map[string][]alternative) (phrase, error) {
	p := phrase{text: text}
	for _, word := range strings.Fields(strings.ToLower(text)) {
		var t term
		word, t.not = strings.CutPrefix(word, "!")
		for alt := range strings.SplitSeq(word, "|") {
			switch {
			case alt == "" || alt == "*":
				return p, fmt.Errorf("phrase %q: an empty word", text)
			case alt[0] == '@':
				set, ok := sets[alt[1:]]
				if !ok {
					return p, fmt.Errorf("phrase %q: no word list %q", text, alt[1:])
				}
				t.any = append(t.any, set...)
			default:
				a, err := parseAlternative(alt)
				if err != nil {
					return p, fmt.Errorf("phrase %q: %w", text, err)
				}
				t.any = append(t.any, a)
			}
		}
		p.terms = append(p.terms, t)
	}
	if len(p.terms) == 0 {
		return p, fmt.Errorf("phrase %q: empty", text)
	}
	return p, nil
}

func parseAlternative(alt string) (alternative, error) {
	if alt[0] != '#' {
		return alternative{words: strings.Split(alt, "_")}, nil
	}
	at := strings.IndexAny(alt, "<>=")
	if at < 2 {
		return alternative{}, fmt.Errorf("%q: want # unit, one of < > = and a number", alt)
	}
	limit, err := strconv.ParseFloat(alt[at+1:], 64)
	if err != nil {
		return alternative{}, fmt.Errorf("%q: %q is no number", alt, alt[at+1:])
	}
	unit := alt[1:at]
	if unit != "v" && unit != "m" && unit != "s" && unit != "n" {
		return alternative{}, fmt.Errorf("%q: unit %q: want v, m, s or n", alt, unit)
	}
	return alternative{unit: unit, op: alt[at], limit: limit}, nil
}

// units are what a number may stand before, with what one is in the base unit.
func unitOf(word string) (base string, factor float64) {
	switch word {
	case "v", "volt", "volts":
		return "v", 1
	case "mv":
		return "v", 1e-3
	case "m", "metre", "metres", "meter", "meters":
		return "m", 1
	case "cm":
		return "m", 1e-2
	case "mm":
		return "m", 1e-3
	case "ms":
		return "s", 1e-3
	case "s", "sec", "second", "seconds":
		return "s", 1
	case "min", "minute", "minutes":
		return "s", 60
	case "h", "hour", "hours":
		return "s", 3600
	case "day", "days":
		return "s", 86400
	}
	return "", 0
}

// A bag is a text taken apart into words and numbers.
type bag []token

type token struct {
	word string
	n    float64
	num  bool
}

func isWordByte(c byte) bool {
	return 'a' <= c && c <= 'z' || '0' <= c && c <= '9' || c == '\'' || c >= 0x80
}

// words takes a text apart. Letters are made small; . and , inside a number stay.
func words(text string) bag {
	s := strings.ToLower(text[:min(len(text), maxText)])
	var b bag
	for i := 0; i < len(s); {
		if !isWordByte(s[i]) {
			i++
			continue
		}
		start := i
		digit := '0' <= s[i] && s[i] <= '9'
		for i < len(s) && (isWordByte(s[i]) || digit && (s[i] == '.' || s[i] == ',') && i+1 < len(s) && '0' <= s[i+1] && s[i+1] <= '9') {
			i++
		}
		word := strings.Trim(s[start:i], "'") // quotes, not the ' of doesn't
		if word == "" {
			continue
		}
		next := split(word)
		// A sign before a figure, not a dash between words or digits.
		if next[0].num && start > 0 && s[start-1] == '-' && (start == 1 || strings.IndexByte(" =(:,", s[start-2]) >= 0) {
			next[0].n = -next[0].n
		}
		b = append(b, next...)
	}
	return b
}

// split parts a number from a unit that is written onto it, as in 3.3v.
func split(w string) []token {
	n := 0
	for n < len(w) && (w[n] >= '0' && w[n] <= '9' || w[n] == '.') {
		n++
	}
	if n == 0 {
		return []token{{word: w}}
	}
	if v, err := strconv.ParseFloat(w[:n], 64); err == nil {
		if n == len(w) {
			return []token{{word: w, n: v, num: true}}
		}
		if base, _ := unitOf(w[n:]); base != "" {
			return []token{{word: w[:n], n: v, num: true}, {word: w[n:]}}
		}
	}
	return []token{{word: w}}
}

// holds reports whether the phrase's terms are all in the text, and how many words
// it took; a term that must not be there counts for nothing.
func (p phrase) holds(b bag) (score int, ok bool) {
	for _, t := range p.terms {
		best := 0
		for _, a := range t.any {
			if n := a.in(b); n > best {
				best = n
			}
		}
		switch {
		case t.not && best > 0, !t.not && best == 0:
			return 0, false
		case !t.not:
			score += best
		}
	}
	return score, true
}

// in is how many words of the text the alternative covers, 0 where it is not in it.
func (a alternative) in(b bag) int {
	if a.unit != "" {
		return a.number(b)
	}
	for i := 0; i+len(a.words) <= len(b); i++ {
		ok := true
		for j, w := range a.words {
			if !sameWord(w, b[i+j].word) {
				ok = false
				break
			}
		}
		if ok {
			return len(a.words)
		}
	}
	return 0
}

func sameWord(want, have string) bool {
	if stem, ok := strings.CutSuffix(want, "*"); ok {
		return strings.HasPrefix(have, stem)
	}
	return want == have
}

func (a alternative) number(b bag) int {
	for i, t := range b {
		if !t.num {
			continue
		}
		n := t.n
		if a.unit != "n" {
			if i+1 == len(b) {
				continue
			}
			base, factor := unitOf(b[i+1].word)
			if base != a.unit {
				continue
			}
			n *= factor
		}
		if a.op == '<' && n < a.limit || a.op == '>' && n > a.limit || a.op == '=' && n == a.limit {
			return 1
		}
	}
	return 0
}

// bestOf is the score of the best of several phrases, 0 for none.
func bestOf(list []phrase, b bag) int {
	best := 0
	for _, p := range list {
		if n, ok := p.holds(b); ok {
			best = max(best, n, 1)
		}
	}
	return best
}
