package parsers_test

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"propwright/parsers"
)

// A labelled line of an invented firmware, with what it reports as a person reads it.
type labelledLine struct {
	kinds []string // "-" for none
	text  string
}

// firmwares are the lines of testdata/tables/unknown_lines.tsv by firmware; its header
// says where they are from.
func firmwares(t *testing.T) map[string][]labelledLine {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "tables", "unknown_lines.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	by := map[string][]labelledLine{}
	for line := range strings.Lines(string(text)) {
		cols := strings.SplitN(strings.TrimRight(line, "\r\n"), "\t", 3)
		if strings.HasPrefix(line, "#") || len(cols) < 3 {
			continue
		}
		by[cols[0]] = append(by[cols[0]], labelledLine{strings.Split(cols[1], "|"), cols[2]})
	}
	return by
}

func eventsOf(text string, profiles ...*parsers.Profile) (events []parsers.Event) {
	s := parsers.NewStream(profiles...)
	emit := func(e parsers.Event) { events = append(events, e) }
	s.Feed([]byte(text), time.Time{}, emit)
	s.Flush(emit)
	return events
}

// Somebody who reads the firmware's language answers for each shape what its first line
// reports. The wording that comes of it is one that loads, and reads the lines as that
// person does: none as another thing.
func TestAFirmwareIsLearnedFromItsLines(t *testing.T) {
	read, labelled := 0, 0
	for name, lines := range firmwares(t) {
		t.Run(name, func(t *testing.T) {
			p, file := learned(t, name, lines)
			for _, l := range lines {
				if l.kinds[0] == "-" || l.kinds[0] == string(parsers.KindSetting) {
					continue
				}
				labelled++
				e, alone := eventsOf(l.text, p)[0], eventsOf(l.text)[0]
				if u := alone.UID(); u != nil && (e.UID() == nil || *e.UID() != *u) {
					t.Errorf("%q: names tag %v, the tolerant reading %v", l.text, e.UID(), u)
				}
				switch {
				case slices.Contains(l.kinds, string(e.Kind)):
					read++
				case e.Kind != parsers.KindUnknown:
					t.Errorf("%q: read as %s, is %v", l.text, e.Kind, l.kinds)
				default:
					t.Logf("not read: %q (%v)", l.text, l.kinds)
				}
			}
			again, _, err := parsers.AppendLessons(name+".toml", "learned", file, nil)
			if err != nil || !bytes.Equal(again, file) {
				t.Errorf("learning nothing changes the file: %v", err)
			}
		})
	}
	t.Logf("%d of %d lines that report something are read as they are meant", read, labelled)
	if read < labelled*9/10 {
		t.Errorf("%d of %d lines read, want nine in ten", read, labelled)
	}
}

// learned is a wording learned from lines whose shapes are answered as labelled, and
// its file.
func learned(t *testing.T, name string, lines []labelledLine) (*parsers.Profile, []byte) {
	t.Helper()
	var text strings.Builder
	for _, l := range lines {
		text.WriteString(l.text + "\n")
	}
	var learner parsers.Learner
	for _, e := range eventsOf(text.String()) {
		learner.Take(e)
	}
	var lessons []parsers.Lesson
	for _, s := range learner.Shapes() {
		label := lines[slices.IndexFunc(lines, func(l labelledLine) bool { return strings.TrimSpace(l.text) == strings.TrimSpace(s.Example) })].kinds[0]
		lesson := parsers.Lesson{Shape: s}
		if label != "-" && label != string(parsers.KindSetting) {
			lesson.As = parsers.Kind(label)
			lesson.Says = learner.SaysFor(s, lesson.As)
		}
		lessons = append(lessons, lesson)
	}
	file, refused, err := parsers.AppendLessons(name+".toml", "learned", nil, lessons)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range refused {
		t.Logf("refused: %s as %s", l.Says, l.As)
	}
	p, err := parsers.LoadProfile(name+".toml", bytes.NewReader(file))
	if err != nil {
		t.Fatalf("%v\n%s", err, file)
	}
	return p, file
}

// Learned from every other line of a firmware, the rest is read as what it is or not
// at all.
func TestWhatWasLearnedReadsNothingAsAnotherThing(t *testing.T) {
	read, unseen := 0, 0
	for name, lines := range firmwares(t) {
		var half, rest []labelledLine
		for i, l := range lines {
			if i%2 == 0 {
				half = append(half, l)
			} else {
				rest = append(rest, l)
			}
		}
		p, _ := learned(t, name, half)
		for _, l := range rest {
			if l.kinds[0] == string(parsers.KindSetting) {
				continue
			}
			e := eventsOf(l.text, p)[0]
			switch {
			case slices.Contains(l.kinds, string(e.Kind)):
				read++
			case e.Kind != parsers.KindUnknown:
				t.Errorf("%s: %q: read as %s, is %v", name, l.text, e.Kind, l.kinds)
			}
			if l.kinds[0] != "-" {
				unseen++
			}
		}
	}
	t.Logf("of %d unseen lines that report something %d are read", unseen, read)
	if read == 0 {
		t.Error("nothing unseen is read: only the very lines were learned")
	}
}
