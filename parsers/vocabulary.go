package parsers

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/BurntSushi/toml"
)

//go:embed vocabulary.toml
var vocabularyFile string

// generalVocabulary is the built-in one. Its file is part of the program, so an
// error in it is one of the program's.
var generalVocabulary = sync.OnceValue(func() *vocabulary {
	v, err := loadVocabulary(vocabularyFile)
	if err != nil {
		panic(err)
	}
	return v
})

// ideas is a set of ideas that words stand for and of values, a bit each.
type ideas uint64

func (s ideas) all(of ideas) bool { return s&of == of }
func (s ideas) any(of ideas) bool { return s&of != 0 }

// Ideas of values, which the reader of a line finds by their shape.
const (
	valueUID ideas = 1 << iota
	valueIP
	valueMAC
	valueVersion // a value that a known reader chip gives
	valueHex     // a byte in hexadecimal
	valueNumber
	valueBit    // 0 or 1 behind a number
	valueCount  // a number of tags or entries
	valueDotted // 1.2 or 1.2.3, no address
	firstWordIdea
)

var valueNames = map[string]ideas{
	"#uid": valueUID, "#ip": valueIP, "#mac": valueMAC, "#version": valueVersion,
	"#hex": valueHex, "#number": valueNumber, "#bit": valueBit, "#dotted": valueDotted,
	"#count": valueCount,
}

const metSets = 1 << 10

// A likelihood is what a set of ideas most likely reports, and how sure that is.
type likelihood struct {
	of   ideas
	kind Kind
	sure float64
}

// A vocabulary knows what words mean in general, and what lines that bring certain
// ideas together usually report. It says the same at any time and is safe for
// concurrent use.
type vocabulary struct {
	words   []wordNode
	guesses []guess
	// What sets of ideas met so far most likely report: lines of one firmware have few.
	met [metSets]atomic.Pointer[likelihood]
	// Ideas that the reader of a line itself looks for.
	not, tag, master, list, coil, version, on, off, gateway, mask, good, allow, deny, error, missing, down, result, identity, chip, count, link, up, brownout, watchdog, power ideas
}

// guess is one [[guess]] of the file.
type guess struct {
	kind              Kind
	all, any, without ideas
	sure              float64
}

// wordNode is a node of the tree of words, a letter a step. Node 0 is the root.
type wordNode struct {
	next        [wordLetters]int16 // 0 for none
	whole, stem ideas              // of the word that ends here; of all words that go on from here
}

// wordLetters are a to z and the signs that a word may hold.
const wordLetters = 26 + 2

func wordLetter(c byte) (int, bool) {
	k := int(wordLetterOf[c])
	return k, k >= 0
}

// wordLetterOf is the letter's place among them, -1 for what is no letter of a word.
var wordLetterOf = func() (of [256]int8) {
	for c := range of {
		of[c] = -1
	}
	for k := range int8(26) {
		of['a'+k], of['A'+k] = k, k
	}
	of['-'], of['\''] = 26, 27
	return of
}()

type vocabularyTOML struct {
	Ideas map[string][]string `toml:"ideas"`
	Guess []struct {
		Kind    string   `toml:"kind"`
		All     []string `toml:"all"`
		Any     []string `toml:"any"`
		Without []string `toml:"without"`
		Sure    float64  `toml:"sure"`
	} `toml:"guess"`
}

// loadVocabulary reads a vocabulary and refuses what it does not know.
func loadVocabulary(text string) (*vocabulary, error) {
	var t vocabularyTOML
	meta, err := toml.Decode(text, &t)
	if err != nil {
		return nil, BrokenTOML("vocabulary", err)
	}
	if extra := meta.Undecoded(); len(extra) > 0 {
		return nil, fmt.Errorf("vocabulary: field %s: no such key", extra[0])
	}
	v := &vocabulary{words: make([]wordNode, 1)}
	names := maps.Clone(valueNames)
	for i, name := range slices.Sorted(maps.Keys(t.Ideas)) {
		bit := firstWordIdea << i
		if bit == 0 {
			return nil, fmt.Errorf("vocabulary: idea %q: more ideas than fit", name)
		}
		names[name] = bit
		for _, word := range t.Ideas[name] {
			if err := v.addWord(word, bit); err != nil {
				return nil, fmt.Errorf("vocabulary: idea %q: %w", name, err)
			}
		}
	}
	set := func(list []string) (s ideas, err error) {
		for _, name := range list {
			bit, ok := names[name]
			if !ok {
				return 0, fmt.Errorf("%q: no such idea", name)
			}
			s |= bit
		}
		return s, nil
	}
	for i, g := range t.Guess {
		guess := guess{kind: Kind(g.Kind), sure: g.Sure}
		var errs [3]error
		guess.all, errs[0] = set(g.All)
		guess.any, errs[1] = set(g.Any)
		guess.without, errs[2] = set(g.Without)
		for _, err := range errs {
			if err != nil {
				return nil, fmt.Errorf("vocabulary: guess %d, %s: %w", i+1, g.Kind, err)
			}
		}
		if !guess.kind.known() || guess.kind.Host() || guess.all == 0 || g.Sure <= 0 || g.Sure >= 1 {
			return nil, fmt.Errorf("vocabulary: guess %d, %q: want a board's kind, ideas in all, and sure between 0 and 1", i+1, g.Kind)
		}
		v.guesses = append(v.guesses, guess)
	}
	for name, to := range map[string]*ideas{
		"not": &v.not, "tag": &v.tag, "master": &v.master, "list": &v.list, "coil": &v.coil, "version": &v.version,
		"on": &v.on, "off": &v.off, "gateway": &v.gateway, "mask": &v.mask, "good": &v.good, "allow": &v.allow,
		"deny": &v.deny, "error": &v.error, "missing": &v.missing, "down": &v.down, "result": &v.result,
		"identity": &v.identity, "chip": &v.chip, "count": &v.count, "link": &v.link, "up": &v.up,
		"brownout": &v.brownout, "watchdog": &v.watchdog, "power": &v.power,
	} {
		if *to = names[name]; *to == 0 {
			return nil, fmt.Errorf("vocabulary: idea %q: missing", name)
		}
	}
	return v, nil
}

// addWord adds a word, or with * at its end all that begin so.
func (v *vocabulary) addWord(word string, idea ideas) error {
	letters, stem := strings.CutSuffix(word, "*")
	at := 0
	for i := range len(letters) {
		k, ok := wordLetter(letters[i])
		if !ok || letters[i] < 'a' && letters[i] != '-' && letters[i] != '\'' {
			return fmt.Errorf("word %q: only letters in lower case, - and '", word)
		}
		to := int(v.words[at].next[k])
		if to == 0 {
			to = len(v.words)
			v.words = append(v.words, wordNode{})
			v.words[at].next[k] = int16(to)
		}
		at = to
	}
	switch {
	case at == 0:
		return fmt.Errorf("word %q: empty", word)
	case stem:
		v.words[at].stem |= idea
	default:
		v.words[at].whole |= idea
	}
	return nil
}

// wordAt is the length of the word that a text begins with, and what it means.
func (v *vocabulary) wordAt(text string) (n int, meaning ideas) {
	at, known := 0, true
	for ; n < len(text); n++ {
		k, ok := wordLetter(text[n])
		if !ok || n == 0 && k >= 26 {
			break
		}
		if k >= 26 && (n+1 == len(text) || !isLetter(text[n+1])) {
			break // the sign stands behind the word, not in it
		}
		if !known {
			continue
		}
		if at = int(v.words[at].next[k]); at == 0 {
			known = false
			continue
		}
		meaning |= v.words[at].stem
	}
	if known {
		meaning |= v.words[at].whole
	}
	return n, meaning
}

func isLetter(c byte) bool { return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' }

// likely is the kind that a line with such ideas most likely reports, and how sure
// that is: 0 where nothing speaks for any. Where a second kind is nearly as likely,
// neither is sure.
func (v *vocabulary) likely(of ideas) (best Kind, sure float64) {
	slot := &v.met[uint64(of)*0x9E3779B97F4A7C15>>(64-10)] // multiplicative hashing
	if l := slot.Load(); l != nil && l.of == of {
		return l.kind, l.sure
	}
	best, sure = v.weigh(of)
	slot.Store(&likelihood{of: of, kind: best, sure: sure})
	return best, sure
}

// weigh is likely, worked out.
func (v *vocabulary) weigh(of ideas) (best Kind, sure float64) {
	const near, doubt = 0.1, 0.6
	var second float64
	for i := range v.guesses {
		g := &v.guesses[i]
		if !of.all(g.all) || g.any != 0 && !of.any(g.any) || of.any(g.without) {
			continue
		}
		switch {
		case g.kind == best:
			sure = max(sure, g.sure)
		case g.sure > sure:
			best, sure, second = g.kind, g.sure, sure
		default:
			second = max(second, g.sure)
		}
	}
	if second > 0 && sure-second < near {
		sure *= doubt
	}
	return best, sure
}
