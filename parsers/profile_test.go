package parsers_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

func load(t *testing.T, text string) *parsers.Profile {
	t.Helper()
	p, err := parsers.LoadProfile("workshop-a.toml", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The example of the architecture, with a reader index, fixed fields and a list
// of values besides.
const workshop = `
name = "workshop-a"
prefix = "[{_:clock}]"

[[line]]
kind = "card-added"
says = "card {uid} is now on the list"

[[line]]
kind = "reader-version"
says = "chip {version:hex8}"

[[line]]
kind = "setting"
says = "lamp {value}"
fields = { name = "polarity" }
[line.values.value]
"lit when high" = "active-high"
"lit when low" = "active-low"

[[line]]
kind = "tag-present"
says = "{{{reader:dec}}} sees"
next = "number {uid}"
uid = "number"

[[line]]
id = "any-trouble"
kind = "board-fault"
says = "trouble: {text:rest}"

[[line]]
kind = "reader-error"
says = "trouble: reader {text:rest}"
before = "any-trouble"
`

func TestProfile(t *testing.T) {
	in := "card 5C-0A-91-E3 is now on the list\n[00:01.5] chip 92h\nLamp lit  when LOW\nlamp off\n{2} sees\nnumber 1544196579\n" +
		"trouble: reader is deaf\ntrouble: memory\nchip 0x100\n"
	want := []string{
		"card-added uid=5C0A91E3", "reader-version version=0x92", "setting name=polarity value=active-low", "unknown",
		"tag-present reader=2 uid=5C0A91E3", "reader-error text=is deaf", "board-fault text=memory", "unknown",
	}
	events := streamEvents(t, []byte(in), load(t, workshop))
	if diff := cmp.Diff(want, allSaid(events)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if e := events[4]; e.Lines != [2]int{5, 6} || string(e.Raw) != "{2} sees\nnumber 1544196579" || e.End != "\n" {
		t.Errorf("label and value: lines %v, raw %q, end %q", e.Lines, e.Raw, e.End)
	}
}

func TestLoadProfileErrors(t *testing.T) {
	head := "name = \"a\"\n[[line]]\n"
	tests := map[string]struct{ text, want string }{
		"no TOML":           {"name = ", `p.toml:1: field name: `},
		"no name":           {"[[line]]\nkind = \"boot\"\nsays = \"x\"", `p.toml: field name: "": want a name of a-z, 0-9, - and _`},
		"no lines":          {"name = \"a\"", `p.toml: field line: no [[line]] in it`},
		"unknown key":       {head + "kind = \"boot\"\nsay = \"x\"", `p.toml:4: field line.say: no such key`},
		"unknown kind":      {head + "kind = \"bootx\"\nsays = \"x\"", `p.toml:3: field kind: "bootx": no such kind`},
		"the computer's":    {head + "kind = \"gap\"\nsays = \"x\"", `p.toml:3: field kind: "gap": only the computer itself states that`},
		"says nothing":      {head + "kind = \"boot\"\nsays = \"  \"", `p.toml:4: field says: "  ": says nothing`},
		"says missing":      {head + "kind = \"boot\"", `p.toml:2: field says: missing`},
		"unknown type":      {head + "kind = \"boot\"\nsays = \"x {a:hex9}\"", `p.toml:4: field says: "x {a:hex9}": placeholder "a:hex9": type "hex9": want one of uid, pairs, hex8, dec, ip, mac, word, stem, clock, rest`},
		"open brace":        {head + "kind = \"boot\"\nsays = \"x {a\"", `p.toml:4: field says: "x {a": "{" without "}"; write "{{" for the sign itself`},
		"rest not last":     {head + "kind = \"boot\"\nsays = \"{a:rest} x\"", `p.toml:4: field says: "{a:rest} x": a placeholder of type rest must be the last thing in the text`},
		"side by side":      {head + "kind = \"boot\"\nsays = \"{a:word}{b:word}\"", `p.toml:4: field says: "{a:word}{b:word}": placeholder "b:word": nothing stands between it and the one before`},
		"set twice":         {head + "kind = \"boot\"\nsays = \"{a:word}\"\nfields = { a = \"x\" }", `p.toml:5: field fields: "a": set twice`},
		"setting unnamed":   {head + "kind = \"setting\"\nsays = \"coil {value:dec}\"", `p.toml:2: field fields: a setting needs a name`},
		"before nobody":     {head + "kind = \"boot\"\nsays = \"x\"\nbefore = \"y\"", `p.toml:5: field before: "y": no line says that or has it as id`},
		"before itself":     {head + "kind = \"boot\"\nsays = \"x\"\nbefore = \"x\"", `p.toml:5: field before: goes before itself`},
		"says a number":     {head + "kind = \"boot\"\nsays = 7", `want a string or a list of strings`},
		"line in which":     {head + "kind = \"boot\"\nsays = \"x\"\n\n[[line]]\nkind = \"boots\"\nsays = \"y\"", `p.toml:7: field kind: "boots": no such kind`},
		"form of the UID":   {head + "kind = \"tag-present\"\nsays = \"{uid}\"\nuid = \"roman\"", `p.toml:5: field uid: "roman": no such form`},
		"uid of other type": {head + "kind = \"tag-present\"\nsays = \"t {uid:word}\"", `a uid has type uid or pairs`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := parsers.LoadProfile("p.toml", strings.NewReader(tt.text))
			if err == nil || !strings.Contains(err.Error(), tt.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("LoadProfile: %v\n want %s", err, tt.want)
			}
		})
	}
	if _, err := parsers.LoadProfile("p.toml", iotest.ErrReader(errors.New("disk gone"))); err == nil || err.Error() != "read p.toml: disk gone" {
		t.Errorf("an unreadable file: %v", err)
	}
	if _, err := parsers.LoadProfile("p.toml", bytes.NewReader(make([]byte, 1<<20+1))); err == nil {
		t.Error("a file of more than 1 MiB is taken")
	}
}

// Architecture: an undeclared overlap is an error at load that names both lines
// and a text that both match; a declared precedence settles it.
func TestOverlaps(t *testing.T) {
	tests := map[string]struct {
		a, b    string
		overlap bool
	}{
		"the same":                    {"tag gone", "TAG  gone", true},
		"word and literal":            {"master {x:word}", "master gone", true},
		"rest and more":               {"trouble {x:rest}", "trouble at {y:dec} V", true},
		"number and tag":              {"card {n:dec}", "card {uid}", true},
		"word and tag":                {"card {n:word}", "card {uid}", true},
		"address and word":            {"at {a:ip}", "at {b:word}", true},
		"hardware address and tag":    {"id {a:mac}", "id {uid}", true}, // joined: twelve digits
		"different literals":          {"card {uid} added", "card {uid} removed", false},
		"tag and a word that is none": {"tag {uid}", "tag gone", false},
		"tag, then a word":            {"card {uid}", "card {uid} refused", false},
		"byte and address":            {"at {a:hex8}", "at {b:ip}", false},
		"number and address":          {"at {a:dec}", "at {b:ip}", false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			text := fmt.Sprintf("name = \"a\"\n[[line]]\nkind = \"board-fault\"\nsays = %q\n[[line]]\nid = \"b\"\nkind = \"reader-error\"\nsays = %q\n", tt.a, tt.b)
			_, err := parsers.LoadProfile("p.toml", strings.NewReader(text))
			o, found := errors.AsType[*parsers.OverlapError](err)
			if found != tt.overlap || (err != nil) != tt.overlap {
				t.Fatalf("%q and %q: %v; want an overlap %t", tt.a, tt.b, err, tt.overlap)
			}
			if !tt.overlap {
				return
			}
			for _, says := range []string{tt.a, tt.b} {
				alone := load(t, fmt.Sprintf("name = \"a\"\n[[line]]\nkind = \"board-fault\"\nsays = %q\n", says))
				if e := streamEvents(t, []byte(o.Text), alone); len(e) != 1 || e[0].Kind != parsers.KindBoardFault {
					t.Errorf("the message's text %q is not matched by %q", o.Text, says)
				}
				if !strings.Contains(err.Error(), fmt.Sprintf("%q", says)) {
					t.Errorf("the message does not name %q: %v", says, err)
				}
			}
			settled := load(t, strings.Replace(text, "says", "before = \"b\"\nsays", 1))
			if e := streamEvents(t, []byte(o.Text), settled); e[0].Kind != parsers.KindBoardFault {
				t.Errorf("with the first before the second, %q says %s", o.Text, e[0].Kind)
			}
		})
	}
}

func TestBuiltinProfiles(t *testing.T) {
	for _, name := range parsers.Builtin() {
		p := builtin(t, name)
		if p.Name() != name || p.About() == "" || len(p.Source()) == 0 {
			t.Errorf("%s: name %q, about %q, %d bytes of source", name, p.Name(), p.About(), len(p.Source()))
		}
		again, err := parsers.LoadProfile(name, iotest.OneByteReader(bytes.NewReader(p.Source())))
		if err != nil {
			t.Errorf("%s from its own source: %v", name, err)
		} else if diff := cmp.Diff(p.Lines(), again.Lines()); diff != "" {
			t.Errorf("%s from its own source (-want +got):\n%s", name, diff)
		}
	}
	if _, err := parsers.BuiltinProfile("../x"); err == nil {
		t.Error("a wording by a path is taken")
	}
}

// FuzzLoadProfile: no panic, errors of one line, and what loads can be used.
func FuzzLoadProfile(f *testing.F) {
	f.Add(workshop)
	f.Add("name = \"a\"\n[[line]]\nkind = \"boot\"\nsays = [\"x {a:rest}\", \"}}{{\"]\nbefore = []\n")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := parsers.LoadProfile("p.toml", strings.NewReader(text))
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("message of several lines: %q", err)
			}
			return
		}
		streamEvents(t, []byte("x 5C 0A 91 E3\r\n\xffx y\n"+text), p)
	})
}

// profileOf makes a profile of n lines that are not alike.
func profileOf(tb testing.TB, n int) *parsers.Profile {
	tb.Helper()
	var b strings.Builder
	b.WriteString("name = \"many\"\n")
	for i := range n {
		fmt.Fprintf(&b, "[[line]]\nkind = \"card-added\"\nsays = \"station %d stored {uid} for bay %d\"\n", i, i)
	}
	p, err := parsers.LoadProfile("many.toml", strings.NewReader(b.String()))
	if err != nil {
		tb.Fatal(err)
	}
	return p
}

// BenchmarkStream compares whole-line matching in profiles of different sizes,
// and with finding the line ends alone (bytes.IndexByte), in the same run.
func BenchmarkStream(b *testing.B) {
	var text []byte
	for i := range 200 {
		text = append(text, fmt.Sprintf("station %d said nothing that any line of the profile knows of today\r\n", i%10)...)
	}
	b.Run("baseline", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			for rest := text; len(rest) > 0; {
				i := bytes.Index(rest, []byte("\r\n"))
				rest = rest[i+2:]
			}
		}
	})
	for _, n := range []int{10, 100, 1000} {
		p := profileOf(b, n)
		b.Run(fmt.Sprintf("lines=%d", n), func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				s := parsers.NewStream(p)
				s.Feed(text, time.Time{}, func(parsers.Event) {})
			}
		})
	}
}
