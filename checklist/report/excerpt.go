package report

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"propwright/checklist"
)

// mostExcerpts is how many pieces of evidence a finding shows; the first and the
// last of a longer list, since the ends tell most.
const mostExcerpts = 8

// An excerpter turns references into words.
type excerpter struct {
	entries []checklist.Entry
	console []int // indexes of the entries that hold console bytes, by offset
}

func newExcerpter(entries []checklist.Entry) *excerpter {
	x := &excerpter{entries: entries}
	for i, e := range entries {
		if e.Event != nil && e.Event.Size() > 0 {
			x.console = append(x.console, i)
		}
	}
	slices.SortStableFunc(x.console, func(a, b int) int {
		return cmp.Compare(entries[a].Event.Offset, entries[b].Event.Offset)
	})
	return x
}

// of returns the excerpts of the references, and how many it left out.
func (x *excerpter) of(refs []checklist.Ref) (shown []Excerpt, elided int) {
	all := []Excerpt{}
	for _, r := range refs {
		if r.Type == checklist.RefConsole {
			all = append(all, x.lines(r)...)
			continue
		}
		if r.From >= 1 && r.From <= int64(len(x.entries)) {
			e := x.entries[r.From-1]
			all = append(all, Excerpt{Type: r.Type, At: utc(e.At), Where: Int(r.From), Text: entryText(e)})
		}
	}
	if len(all) <= mostExcerpts {
		return all, 0
	}
	elided = len(all) - mostExcerpts
	return append(all[:mostExcerpts/2:mostExcerpts/2], all[len(all)-mostExcerpts/2:]...), elided
}

// lines are the console events that a range touches.
func (x *excerpter) lines(r checklist.Ref) []Excerpt {
	var out []Excerpt
	first := sort.Search(len(x.console), func(i int) bool {
		e := x.entries[x.console[i]].Event
		return e.Offset+e.Size() > r.From
	})
	for _, i := range x.console[first:] {
		e := x.entries[i].Event
		if e.Offset >= r.To {
			break
		}
		at := utc(e.First)
		if e.First.IsZero() {
			at = utc(x.entries[i].At)
		}
		out = append(out, Excerpt{Type: r.Type, At: at, Where: Int(e.Offset), Text: printable(e.Raw)})
	}
	return out
}

// entryText says in one line what an entry holds.
func entryText(e checklist.Entry) string {
	switch {
	case e.Frame != nil:
		return frameText(e.Frame)
	case e.Answer != nil:
		return answerText(e.Answer)
	case e.Measure != nil:
		return measureText(e.Measure)
	case e.Event != nil:
		return string(e.Event.Kind) + fieldsText(e.Event.Fields())
	case e.Instruct != nil:
		return "asked: " + e.Instruct.Text
	default:
		return string(e.Type)
	}
}

func frameText(f *checklist.Frame) string {
	if f.Kind != checklist.FrameRequest {
		return fmt.Sprintf("%s, %s", f.Peer, f.Kind)
	}
	text := fmt.Sprintf("%s, unit %d, function %d", f.Peer, f.Unit, f.Function)
	if f.Coil >= 0 {
		text += fmt.Sprintf(", coil %d (on the wire %d)", f.Coil, f.Address)
	}
	for i, v := range f.Values {
		if i == 8 {
			text += " …"
			break
		}
		text += " " + strconv.Itoa(v)
	}
	return text + ": " + f.Answer
}

func answerText(a *checklist.Answer) string {
	said := a.Text
	if a.Value != nil {
		said = strconv.FormatFloat(*a.Value, 'g', -1, 64) + " " + a.Unit
	}
	return fmt.Sprintf("%s – %s (%s)", a.Question.Text, strings.TrimSpace(said), orUnknown(a.By))
}

func measureText(m *checklist.Measure) string {
	text := m.Name + " " + strconv.FormatFloat(m.Value, 'g', 6, 64)
	if m.Unit != "" && m.Unit != "1" {
		text += " " + m.Unit
	}
	return text + fieldsText(m.Params)
}

func fieldsText(fields map[string]string) string {
	var b strings.Builder
	names := make([]string, 0, len(fields))
	for name := range fields {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		fmt.Fprintf(&b, ", %s %s", name, fields[name])
	}
	return b.String()
}

// printable shows bytes as text in which nothing can move the cursor, turn the
// writing direction or hide: those bytes and what is not UTF-8 become \xNN, the
// backslash doubles.
func printable(raw []byte) string {
	var b strings.Builder
	for len(raw) > 0 {
		r, n := utf8.DecodeRune(raw)
		switch {
		case r == '\\':
			b.WriteString(`\\`)
		case r == utf8.RuneError && n <= 1, !visible(r):
			for _, c := range raw[:n] {
				fmt.Fprintf(&b, `\x%02x`, c)
			}
		default:
			b.Write(raw[:n])
		}
		raw = raw[n:]
	}
	return b.String()
}

// visible reports whether a rune shows as itself; the blank does.
func visible(r rune) bool { return unicode.IsGraphic(r) && (r == ' ' || !unicode.IsSpace(r)) }
