package diagnose

import (
	"bytes"
	"cmp"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/BurntSushi/toml"

	"propwright/parsers"
)

//go:embed knowledge/*.toml
var knowledgeFiles embed.FS

// Bounds of a knowledge: files beyond them are refused.
const (
	maxFileBytes = 1 << 20
	maxCauses    = 500
	maxFindings  = 1000
	maxTests     = 1000
	maxValues    = 20
)

// Builtin is the knowledge that comes with the program.
var Builtin = sync.OnceValues(func() (*Knowledge, error) { return Load(LoadOptions{}) })

// LoadOptions say what a knowledge is made of.
type LoadOptions struct {
	Site fs.FS // holds *.toml files that add to the built-in ones; nil for none
	// Without names a case: likelihoods that rest on it alone are left out.
	Without string
	// Only is used in place of the built-in files where it is not nil.
	Only fs.FS
}

// Load reads the built-in knowledge and what a site adds to it. Files are read in the
// order of their names, those of the site last. Errors are *LoadError and name file,
// line and field.
func Load(o LoadOptions) (*Knowledge, error) {
	b := &builder{without: o.Without, k: &Knowledge{sets: map[string][]alternative{}}}
	first, dir := o.Only, "."
	if first == nil {
		first, dir = knowledgeFiles, "knowledge"
	}
	if err := b.addAll(first, dir); err != nil {
		return nil, err
	}
	if o.Site != nil {
		if err := b.addAll(o.Site, "."); err != nil {
			return nil, err
		}
	}
	return b.finish()
}

func (b *builder) addAll(from fs.FS, dir string) error {
	pattern := "*.toml"
	if dir != "." {
		pattern = dir + "/*.toml"
	}
	names, err := fs.Glob(from, pattern)
	if err != nil {
		return fmt.Errorf("knowledge: %w", err)
	}
	for _, name := range names {
		f, err := from.Open(name)
		if err != nil {
			return fmt.Errorf("knowledge: %w", err)
		}
		err = b.read(name, f)
		f.Close()
		if err != nil {
			return err
		}
	}
	return nil
}

// A source is one file, kept to say where in it things stand.
type source struct {
	name string
	text []byte
	t    fileTOML
}

func (s *source) at(line int, field string, err error) error {
	return &LoadError{File: s.name, Line: line, Field: field, Err: err}
}

// line is where in the n-th [[table]] of the file a text stands that begins with key
// or holds it; the table's own line where it is in none of its lines.
func (s *source) line(table string, n int, key string) int {
	header, seen, inside := 0, -1, 0
	for i, text := range bytes.Split(s.text, []byte("\n")) {
		text = bytes.TrimSpace(text)
		if bytes.HasPrefix(text, []byte("[")) && bytes.HasPrefix(bytes.TrimLeft(text, "["), []byte(table+"]")) {
			if seen == n {
				break
			}
			seen, header = seen+1, i+1
			continue
		}
		if seen != n || key == "" {
			continue
		}
		if k, _, ok := bytes.Cut(text, []byte("=")); ok && string(bytes.TrimSpace(k)) == key {
			return i + 1
		}
		if inside == 0 && bytes.Contains(text, []byte(key)) {
			inside = i + 1
		}
	}
	return cmp.Or(inside, header)
}

type builder struct {
	k       *Knowledge
	without string
	files   []*source
	model   bool
	// Where causes, findings and tests were told last, for messages.
	causeAt, findingAt, testAt map[string]place
}

type place struct {
	s *source
	n int
}

func (p place) wrong(table, key, field string, err error) error {
	return p.s.at(p.s.line(table, p.n, key), field, err)
}

// read takes one file apart; what refers to other files is looked at in finish.
func (b *builder) read(name string, r io.Reader) error {
	text, err := io.ReadAll(io.LimitReader(r, maxFileBytes+1))
	if err != nil {
		return fmt.Errorf("read %s: %w", name, err)
	}
	s := &source{name: name, text: text}
	if len(text) > maxFileBytes {
		return s.at(0, "", fmt.Errorf("more than %d bytes", maxFileBytes))
	}
	meta, err := toml.Decode(string(text), &s.t)
	if err != nil {
		return parsers.BrokenTOML(s.name, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		key := unknown[0]
		return s.at(s.keyLine(key[len(key)-1]), key.String(), errors.New("no such key"))
	}
	b.files = append(b.files, s)
	return nil
}

func (s *source) keyLine(key string) int {
	for i, text := range bytes.Split(s.text, []byte("\n")) {
		if bytes.Contains(text, []byte(key)) {
			return i + 1
		}
	}
	return 0
}

// finish puts the files together.
func (b *builder) finish() (*Knowledge, error) {
	b.causeAt, b.findingAt, b.testAt = map[string]place{}, map[string]place{}, map[string]place{}
	for _, part := range []func(*source) error{b.settings, b.wordLists, b.causes, b.findings, b.under, b.tests, b.stepRules} {
		for _, s := range b.files {
			if err := part(s); err != nil {
				return nil, err
			}
		}
	}
	switch {
	case !b.model:
		return nil, errors.New("knowledge: no [model] in any file")
	case b.k.Cause(SomethingElse) < 0:
		return nil, fmt.Errorf("knowledge: no cause %q in any file", SomethingElse)
	}
	b.k.other = b.k.Cause(SomethingElse)
	b.k.lexicon = newLexicon(b.k.Causes)
	b.unfamiliar()
	return b.k, b.order()
}

func (b *builder) settings(s *source) error {
	m := s.t.Model
	if m == nil {
		return nil
	}
	for _, v := range []struct {
		field     string
		value, to float64
	}{{"nothing_wrong", m.NothingWrong, 100}, {"pairs", m.Pairs, 0.9}, {"slip", m.Slip, 0.5}, {"unfamiliar", m.Unfamiliar, 1}, {"open", m.Open, 1000}, {"check", m.Check, 1000}} {
		if !within(v.value, 0, v.to) {
			return s.at(s.line("model", 0, v.field), v.field, fmt.Errorf("%g: must be 0 to %g", v.value, v.to))
		}
	}
	b.k.Model = Model{m.NothingWrong, m.Pairs, m.Slip, m.Unfamiliar, m.Open, m.Check}
	b.model = true
	return nil
}

// within reports whether v is a number from lo to hi.
func within(v, lo, hi float64) bool { return v >= lo && v <= hi }

func (b *builder) wordLists(s *source) error {
	for name, list := range s.t.Words {
		for _, w := range list {
			if w == "" || strings.ContainsAny(w, " |@!") {
				return s.at(s.keyLine(name), "words."+name, fmt.Errorf("%q: want one word, or words joined by _", w))
			}
			a, err := parseAlternative(strings.ToLower(w))
			if err != nil {
				return s.at(s.keyLine(name), "words."+name, err)
			}
			b.k.sets[name] = append(b.k.sets[name], a)
		}
	}
	return nil
}

func (b *builder) phrases(at place, table, field string, list []string) ([]phrase, error) {
	var out []phrase
	for _, text := range list {
		p, err := parsePhrase(text, b.k.sets)
		if err != nil {
			return nil, at.wrong(table, text, field, err)
		}
		out = append(out, p)
	}
	return out, nil
}

func idWrong(id string) error {
	for i := range len(id) {
		if c := id[i]; !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-' && i > 0) {
			return fmt.Errorf("%q: want a name of a-z, 0-9 and -", id)
		}
	}
	if id == "" || len(id) > 60 {
		return fmt.Errorf("%q: want a name of 1 to 60 letters", id)
	}
	return nil
}

func (b *builder) causes(s *source) error {
	for n, c := range s.t.Cause {
		at := place{s, n}
		bad := func(field string, err error) error { return at.wrong("cause", field, field, err) }
		switch {
		case idWrong(c.ID) != nil:
			return bad("id", idWrong(c.ID))
		case c.ID == NothingWrong:
			return bad("id", fmt.Errorf("%q is the case of no cause and is not listed; its weight is in [model]", c.ID))
		case c.Title == "":
			return bad("title", errors.New("missing"))
		case c.Area == "":
			return bad("area", errors.New("missing"))
		case !(c.Prior > 0 && c.Prior <= 100):
			return bad("prior", fmt.Errorf("%g: must be over 0 and at most 100", c.Prior))
		case len(c.Basis) == 0:
			return bad("basis", errors.New("missing: say what the prior rests on"))
		case c.Remedy == "":
			return bad("remedy", errors.New("missing"))
		case !within(c.Minutes, 0, 10000):
			return bad("minutes", fmt.Errorf("%g: must be 0 to 10000", c.Minutes))
		}
		cause := Cause(c)
		if old, known := b.causeAt[c.ID]; known {
			if old.s == s {
				return bad("id", fmt.Errorf("%q: twice in this file", c.ID))
			}
			b.k.Causes[b.k.Cause(c.ID)] = cause
		} else {
			b.k.Causes = append(b.k.Causes, cause)
		}
		b.causeAt[c.ID] = at
		if len(b.k.Causes) > maxCauses {
			return bad("id", fmt.Errorf("more than %d causes", maxCauses))
		}
	}
	return nil
}

func (b *builder) findings(s *source) error {
	for n, f := range s.t.Finding {
		at := place{s, n}
		bad := func(field string, err error) error { return at.wrong("finding", field, field, err) }
		if err := idWrong(f.ID); err != nil {
			return bad("id", err)
		}
		if old, known := b.findingAt[f.ID]; known {
			if old.s == s || len(f.Values) > 0 {
				return bad("id", fmt.Errorf("%q: known already; a site's file may add to its \"under\" only", f.ID))
			}
			continue
		}
		if f.Action && len(f.Values) == 0 {
			f.Values = actionValues()
		}
		switch {
		case f.About == "":
			return bad("about", errors.New("missing"))
		case len(f.Values) < 2 || len(f.Values) > maxValues:
			return bad("values", fmt.Errorf("%d values: want 2 to %d", len(f.Values), maxValues))
		case len(f.Basis) == 0:
			return bad("basis", errors.New("missing: say what the leaks rest on"))
		case len(b.k.Findings) >= maxFindings:
			return bad("id", fmt.Errorf("more than %d findings", maxFindings))
		}
		finding := Finding{ID: f.ID, About: f.About, Action: f.Action, Basis: f.Basis, slip: -1}
		if f.Slip != nil {
			if !(*f.Slip >= 0 && *f.Slip <= 0.5) {
				return at.wrong("finding", "slip", "slip", fmt.Errorf("%g: must be 0 to 0.5", *f.Slip))
			}
			finding.slip = *f.Slip
		}
		var err error
		if finding.asks, err = b.phrases(at, "finding", "asks", f.Asks); err != nil {
			return err
		}
		sum := 0.0
		for _, v := range f.Values {
			switch {
			case idWrong(v.ID) != nil:
				return at.wrong("finding", v.ID, "values.id", idWrong(v.ID))
			case finding.Value(v.ID) >= 0:
				return at.wrong("finding", v.ID, "values.id", fmt.Errorf("%q: twice", v.ID))
			case !(v.Leak >= 0 && v.Leak <= 1):
				return at.wrong("finding", `"`+v.ID+`"`, "values.leak", fmt.Errorf("%g: a probability is 0 to 1", v.Leak))
			case v.Tell == "":
				return at.wrong("finding", `"`+v.ID+`"`, "values.tell", errors.New("missing"))
			}
			value := Value{ID: v.ID, Leak: v.Leak, Tell: v.Tell}
			if value.says, err = b.phrases(at, "finding", "values.says", v.Says); err != nil {
				return err
			}
			if value.shows, err = b.phrases(at, "finding", "values.shows", v.Shows); err != nil {
				return err
			}
			finding.Values = append(finding.Values, value)
			finding.leak = append(finding.leak, v.Leak)
			sum += v.Leak
		}
		if math.Abs(sum-1) > 1e-6 {
			return bad("values", fmt.Errorf("the leaks come to %g: must be 1", sum))
		}
		b.k.Findings = append(b.k.Findings, finding)
		b.findingAt[f.ID] = at
	}
	return nil
}

// actionValues are those of a deed whose values are not given.
func actionValues() []valueTOML {
	return []valueTOML{
		{ID: "no-change", Leak: 0.94, Tell: "no change", Says: []string{"@same", "@bad"}},
		{ID: "cured", Leak: 0.06, Tell: "it cures", Says: []string{"@good !@bad|@same"}},
	}
}

// under reads how likely the values are under the causes.
func (b *builder) under(s *source) error {
	for n, f := range s.t.Finding {
		at := place{s, n}
		finding := &b.k.Findings[b.k.Finding(f.ID)]
		if finding.dist == nil {
			finding.dist = make([][]float64, len(b.k.Causes))
		}
		for _, u := range f.Under {
			if err := b.likelihood(at, finding, u); err != nil {
				return err
			}
		}
	}
	return nil
}

func (b *builder) likelihood(at place, f *Finding, u underTOML) error {
	key := ""
	if len(u.Causes) > 0 {
		key = `"` + u.Causes[0] + `"`
	} else if len(u.Areas) > 0 {
		key = `"` + u.Areas[0] + `"`
	}
	bad := func(field string, err error) error { return at.wrong("finding", key, "under."+field, err) }
	switch {
	case len(u.Causes) == 0 && len(u.Areas) == 0:
		return bad("causes", errors.New("missing"))
	case len(u.P) == 0:
		return bad("p", errors.New("missing"))
	case len(u.Basis) == 0:
		return bad("basis", errors.New("missing: say what the likelihood rests on"))
	}
	var of []int
	for _, area := range u.Areas {
		before := len(of)
		for i, c := range b.k.Causes {
			if c.Area == area {
				of = append(of, i)
			}
		}
		if len(of) == before {
			return bad("areas", fmt.Errorf("%q: no cause has this area", area))
		}
	}
	for _, id := range u.Causes {
		i := b.k.Cause(id)
		switch {
		case i < 0:
			return at.wrong("finding", `"`+id+`"`, "under.causes", fmt.Errorf("%q: no such cause", id))
		}
		of = append(of, i)
	}
	dist, err := f.spread(u.P)
	if err != nil {
		return bad("p", err)
	}
	if b.without != "" && !slices.ContainsFunc(u.Basis, func(s string) bool { return s != "case "+b.without }) {
		return nil
	}
	for _, i := range of {
		f.dist[i] = dist
	}
	return nil
}

// spread is a whole distribution: what is told, and the rest shared out as the leak is.
func (f *Finding) spread(p map[string]float64) ([]float64, error) {
	dist := make([]float64, len(f.Values))
	told, rest := 0.0, 0.0
	for id, v := range p {
		i := f.Value(id)
		switch {
		case i < 0:
			return nil, fmt.Errorf("%q: the finding has no such value", id)
		case !(v >= 0 && v <= 1):
			return nil, fmt.Errorf("%g: a probability is 0 to 1", v)
		}
		dist[i] = v
		told += v
	}
	if told > 1+1e-9 {
		return nil, fmt.Errorf("they come to %g: must not be more than 1", told)
	}
	for i, v := range f.Values {
		if _, named := p[v.ID]; !named {
			rest += f.leak[i]
		}
	}
	for i, v := range f.Values {
		if _, named := p[v.ID]; !named && rest > 0 {
			dist[i] = (1 - told) * f.leak[i] / rest
		}
	}
	if rest == 0 && math.Abs(told-1) > 1e-6 {
		return nil, fmt.Errorf("they come to %g and no value is left for the rest", told)
	}
	return dist, nil
}

// unfamiliar gives "something else" its likelihoods where the files give none: between
// what is usual and what is quite open.
func (b *builder) unfamiliar() {
	u := b.k.Model.Unfamiliar
	for i := range b.k.Findings {
		f := &b.k.Findings[i]
		if f.dist == nil {
			f.dist = make([][]float64, len(b.k.Causes))
		}
		if f.other = f.dist[b.k.other]; f.other != nil {
			continue
		}
		f.other = f.leak
		dist := make([]float64, len(f.Values))
		for v := range dist {
			dist[v] = (1-u)*f.leak[v] + u/float64(len(dist))
		}
		f.dist[b.k.other] = dist
	}
}

// moot reads what makes a test idle: FINDING, FINDING=VALUE or a fact.
func (b *builder) moot(text string) (Moot, error) {
	if strings.HasPrefix(text, "@") {
		if !slices.Contains(facts, Fact(text)) {
			return Moot{}, fmt.Errorf("%q: no such fact, there are %v", text, facts)
		}
		return Moot{Fact: Fact(text)}, nil
	}
	id, value, one := strings.Cut(text, "=")
	m := Moot{Finding: b.k.Finding(id), Value: -1}
	if m.Finding < 0 {
		return m, fmt.Errorf("%q: no such finding", id)
	}
	if one {
		if m.Value = b.k.Findings[m.Finding].Value(value); m.Value < 0 {
			return m, fmt.Errorf("%q: %s has no such value", value, id)
		}
	}
	return m, nil
}

func (b *builder) tests(s *source) error {
	for n, t := range s.t.Test {
		at := place{s, n}
		bad := func(field string, err error) error { return at.wrong("test", field, field, err) }
		_, known := b.testAt[t.ID]
		switch {
		case idWrong(t.ID) != nil:
			return bad("id", idWrong(t.ID))
		case known:
			return bad("id", fmt.Errorf("%q: known already", t.ID))
		case b.k.Finding(t.Finding) < 0:
			return bad("finding", fmt.Errorf("%q: no such finding", t.Finding))
		case t.Ask == "":
			return bad("ask", errors.New("missing"))
		case t.Why == "":
			return bad("why", errors.New("missing"))
		case !(t.Minutes > 0 && t.Minutes <= 10000):
			return bad("minutes", fmt.Errorf("%g: must be over 0 and at most 10000", t.Minutes))
		case t.Script != "" && !slices.Contains(scriptNames, t.Script):
			return bad("script", fmt.Errorf("%q: want one of %s", t.Script, strings.Join(scriptNames, ", ")))
		case len(b.k.Tests) >= maxTests:
			return bad("id", fmt.Errorf("more than %d tests", maxTests))
		}
		test := Test{
			ID: t.ID, Ask: t.Ask, Finding: b.k.Finding(t.Finding), Minutes: t.Minutes, Tools: t.Tools, Opens: t.Opens,
			Console: t.Console, Masks: t.Masks, Why: t.Why, Caution: t.Caution, Script: t.Script,
		}
		for _, id := range t.Destroys {
			i := b.k.Finding(id)
			if i < 0 {
				return bad("destroys", fmt.Errorf("%q: no such finding", id))
			}
			test.Destroys = append(test.Destroys, i)
		}
		for _, text := range t.Moot {
			m, err := b.moot(text)
			if err != nil {
				return bad("moot", err)
			}
			test.Moot = append(test.Moot, m)
		}
		var err error
		if test.says, err = b.phrases(at, "test", "says", t.Says); err != nil {
			return err
		}
		b.k.Tests = append(b.k.Tests, test)
		b.testAt[t.ID] = at
	}
	return nil
}
