package parsers

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// knownLines are console lines from every capture and table of the project, and
// variations of them.
func knownLines(t testing.TB) [][]byte {
	t.Helper()
	var lines [][]byte
	err := filepath.WalkDir(filepath.Join("..", "testdata"), func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		in := bufio.NewScanner(bytes.NewReader(text))
		in.Buffer(nil, 1<<20)
		for in.Scan() {
			for part := range strings.SplitSeq(in.Text(), "\t") {
				lines = append(lines, []byte(part))
			}
		}
		return in.Err()
	})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for _, l := range lines[:len(lines):len(lines)] {
		for range 4 {
			v := bytes.Clone(l)
			for range 1 + r.IntN(3) {
				if len(v) == 0 {
					break
				}
				at := r.IntN(len(v))
				switch r.IntN(4) {
				case 0:
					v[at] = "0123456789ABCDEFabcdef :-xhH,"[r.IntN(29)]
				case 1:
					v = append(v[:at], v[at+1:]...)
				case 2:
					v = append(v[:at], append([]byte(" "), v[at:]...)...)
				case 3:
					v[at] = byte(r.IntN(256))
				}
			}
			lines = append(lines, v)
		}
	}
	return lines
}

// What is found without a wording's regular expression is what the expression finds:
// the library's engine is the second program here.
func TestValuesAreFoundWhereTheExpressionFindsThem(t *testing.T) {
	profiles, err := Auto()
	if err != nil {
		t.Fatal(err)
	}
	found, asked := 0, 0
	for _, p := range profiles {
		if p.match == nil {
			continue
		}
		for _, line := range append(knownLines(t), saidBy(p)...) {
			for _, i := range p.match.match(line) {
				if compareFind(t, p.patterns[i], line) {
					found++
				} else {
					asked++
				}
			}
		}
	}
	t.Logf("%d found, %d left to the expression", found, asked)
	if found < 5000 || 2*asked > found {
		t.Errorf("%d found, %d left to the expression; want two thirds found at least", found, asked)
	}
}

// saidBy makes lines of each of a profile's wordings, with made-up values, behind a
// time stamp now and then.
func saidBy(p *Profile) (lines [][]byte) {
	r := rand.New(rand.NewPCG(5, 6))
	pick := func(texts ...string) string { return texts[r.IntN(len(texts))] }
	for _, pat := range p.patterns {
		for range 40 {
			var b strings.Builder
			b.WriteString(pick("", "", "", "  ", "15:10:05.274 -> ", "[00:01:02] "))
			for _, e := range pat.elements {
				switch {
				case e.hold == nil && e.lit == 0:
					b.WriteString(pick(" ", " ", "  ", "\t"))
				case e.hold == nil:
					b.WriteString(pick(string(e.lit), strings.ToUpper(string(e.lit))))
				case e.hold.typ == typeListed:
					for text := range e.hold.values {
						b.WriteString(text)
						break
					}
				default:
					b.WriteString(pick(map[placeholderType][]string{
						typeUID:   {"5C 0A 91 E3", "04:A1:B2:C3:D4:E5:F6", "5c0a91e3", "5C-0A-91-E3", "0x5C 0x0A 0x91 0xE3", "92,10,145,227", "5CA91E3", "5C 0A 91 E3 145", "AC CE D0 ED"},
						typePairs: {"5C 0A 91 E3", "04 A1 B2 C3 D4 E5 F6", "92 10 145 227", "F 0 A 3"},
						typeHex8:  {"0x92", "92", "B2h", "0", "0x8"}, typeDec: {"0", "7", "117", "00042"},
						typeIP:   {"10.77.0.10", "10.77.0.10:502", "10.77.0.10."},
						typeMAC:  {"02:54:57:00:00:57", "2.54.57.0.0.57", "025457000057"},
						typeWord: {"v2.0", "(clone)", "x"}, typeStem: {"", "ed", "ing"}, typeClock: {"15:10:05.274", "1234"},
						typeRest: {"ok", "and more, to the end", "5C 0A"},
					}[e.hold.typ]...))
				}
			}
			b.WriteString(pick("", "", " ", "\t"))
			lines = append(lines, []byte(b.String()))
		}
	}
	return lines
}

// compareFind reports whether the values were found without the expression.
func compareFind(t *testing.T, p *pattern, line []byte) bool {
	t.Helper()
	at, ok := p.find(line)
	if !ok {
		return false
	}
	groups := p.full().FindSubmatch(latin1(line))
	if groups == nil {
		t.Fatalf("%q: the expression of %q does not match", line, p.says)
	}
	for i := range p.values {
		if got, want := string(line[at[i][0]:at[i][1]]), string(unlatin1(groups[i+1])); got != want {
			t.Errorf("%q as %q: value %d is %q, the expression has %q", line, p.says, i, got, want)
		}
	}
	return true
}

func FuzzValuesAreFoundWhereTheExpressionFindsThem(f *testing.F) {
	profiles, err := Auto()
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte("card 5C 0A 91 E3 accepted"))
	f.Add([]byte("UID: 04:A1:B2:C3:D4:E5:F6 added"))
	f.Fuzz(func(t *testing.T, line []byte) {
		for _, p := range profiles {
			if p.match == nil || bytes.ContainsAny(line, "\r\n") {
				continue
			}
			for _, i := range p.match.match(line) {
				compareFind(t, p.patterns[i], line)
			}
		}
	})
}

// The short way of reading a UID reads what the long way reads, and nothing else.
func TestPairsAreReadAsAnyPrintIs(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	read := 0
	for range 200_000 {
		n := []int{1, 3, 4, 5, 7, 10}[r.IntN(6)]
		sep := []string{"", " ", ":", "-", ",", "  "}[r.IntN(6)]
		digits := "0123456789ABCDEFabcdef"
		if r.IntN(3) == 0 {
			digits = "0123456789"
		}
		var b strings.Builder
		for i := range n {
			if i > 0 {
				b.WriteString(sep)
			}
			b.WriteByte(digits[r.IntN(len(digits))])
			if r.IntN(40) > 0 {
				b.WriteByte(digits[r.IntN(len(digits))])
			}
		}
		text := b.String()
		u, ok := pairsUID(text)
		if !ok {
			continue
		}
		read++
		if want, err := parseUID(text); err != nil || u != want {
			t.Fatalf("%q: %v, want %v, %v", text, u, want, err)
		}
	}
	if read < 10_000 {
		t.Errorf("only %d of the prints were read", read)
	}
}

// The JSON that is appended is what the library's own encoder makes of the same
// members.
func TestAppendedJSONIsTheEncoders(t *testing.T) {
	at := time.Date(2026, 11, 25, 21, 30, 0, 5, time.UTC)
	uid, err := ParseUID("5C0A91E3")
	if err != nil {
		t.Fatal(err)
	}
	texts := []string{"", "plain", "a\"b\\c", "tab\tline\nend\r", "\x00\x1f\x7f", "ä⚓\u2028\u2029", "\xff\xfe", "<&>", "\ufffd"}
	for i, text := range texts {
		for j, other := range texts {
			e := Event{
				Seq: uint64(i), First: at, Kind: KindUnknown, Reader: j - 1, Lines: [2]int{i, j}, Offset: int64(i * j), Raw: []byte(text + other),
				End: []string{"", "\n", "\r", "\r\n", "\n\r", EndCut}[(i+j)%6], Profile: text,
			}
			held := map[string]string{"a": text, "b": other, text: "c"}
			if i%2 == 0 {
				held["uid"], e.Last = uid.String(), at.Add(time.Second)
			}
			e = e.Holding(held)
			if i%3 == 0 {
				e.Raw = nil
			}
			got, err := e.AppendJSON([]byte("before "))
			if err != nil {
				t.Fatal(err)
			}
			got, begun := bytes.CutPrefix(got, []byte("before "))
			if diff := cmp.Diff(string(encoded(t, e)), string(got)); !begun || diff != "" {
				t.Errorf("(-encoder +appended):\n%s", diff)
			}
		}
	}
}

// encoded is an event's JSON by encoding/json alone.
func encoded(t *testing.T, e Event) []byte {
	t.Helper()
	stamp := func(at time.Time) *string {
		if at.IsZero() {
			return nil
		}
		s := at.UTC().Format(eventTime)
		return &s
	}
	j := eventJSON{Seq: e.Seq, First: stamp(e.First), Last: stamp(e.Last), Kind: e.Kind, Lines: e.Lines, Offset: e.Offset, End: e.End, Profile: e.Profile, Fields: e.Fields()}
	if e.Reader != NoReader {
		j.Reader = &e.Reader
	}
	if e.Raw != nil {
		raw := EscapeRaw(e.Raw)
		j.Raw = &raw
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(j); err != nil {
		t.Fatal(err)
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n"))
}

// What is read of a line when it is asked for is what reading it at once gives.
func TestValuesReadLaterAreThoseReadAtOnce(t *testing.T) {
	profiles, err := Auto()
	if err != nil {
		t.Fatal(err)
	}
	later := 0
	for _, p := range profiles {
		lines := append(knownLines(t), saidBy(p)...)
		for _, line := range lines {
			said, reader, _ := p.sure(line)
			if said == nil {
				continue
			}
			later++
			once, ok, err := p.read(line)
			if !ok || err != nil || once.said != said {
				t.Fatalf("%q: taken for sound, but %v, %v", line, ok, err)
			}
			e := Event{Kind: said.line.kind, Reader: reader, Raw: line, Profile: p.name, said: said}
			want := Event{Kind: once.kind, Reader: once.reader, Raw: line, Profile: p.name, told: &told{fields: once.fields, uid: once.uid}}
			if !e.Equal(want) || (e.UID() == nil) != (once.uid == nil) {
				t.Errorf("%q:\n later %v\nat once %v", line, e.Fields(), want.Fields())
			}
		}
	}
	if later < 5000 {
		t.Errorf("only %d lines were left for later", later)
	}
}

// Text is told from what is none eight bytes at a time as it is byte by byte.
func TestPlainTextIsToldAlike(t *testing.T) {
	for c := range 256 {
		for at := range 17 {
			line := bytes.Repeat([]byte("~ \t"), 6)[:17]
			line[at] = byte(c)
			if got, want := plainText(line), c == '\t' || ' ' <= c && c <= '~'; got != want {
				t.Errorf("byte %#x at %d: %v; want %v", c, at, got, want)
			}
		}
	}
}
