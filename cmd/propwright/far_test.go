package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"propwright/checklist"
)

// Every word that is shown from afar has all its letters, fits 80 by 24 together
// with the longest figure and the line of its instruction, and holds no control
// codes.
func TestLargeTextFitsTheSmallestTerminal(t *testing.T) {
	words := []string{"READ", "MISSED", "OTHER", "VOID", "PASSED", "FAILED", "SKIPPED", "OPEN", "SAY"}
	for _, a := range []checklist.Act{
		checklist.ActPresent, checklist.ActPlace, checklist.ActTake, checklist.ActReset, checklist.ActFlex, checklist.ActRelax, checklist.ActCableOut,
		checklist.ActCableIn, checklist.ActSupplyOn, checklist.ActSupplyOff, checklist.ActUSBOut, checklist.ActUSBIn, checklist.ActClear, checklist.ActLook,
	} {
		if wordOf(a) == "" {
			t.Errorf("act %q has no word", a)
		}
		words = append(words, wordOf(a))
	}
	for _, w := range words {
		for _, r := range w + "100/100 40.5 MM" {
			if _, known := glyphs()[r]; !known {
				t.Errorf("%q: no block letter for %q", w, r)
			}
		}
		text := large(w, "100/100")
		lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
		if len(lines) > farHeight-4 {
			t.Errorf("%q: %d lines, want %d at most and four left for text", w, len(lines), farHeight-4)
		}
		for _, l := range lines {
			if n := utf8.RuneCountInString(l); n > farWidth {
				t.Errorf("%q: a line of %d columns, want %d at most", w, n, farWidth)
			}
			if strings.ContainsFunc(l, func(r rune) bool { return r != ' ' && r != '█' }) {
				t.Errorf("%q: line %q holds more than blocks and blanks", w, l)
			}
		}
	}
}

// No two letters look alike.
func TestBlockLettersDiffer(t *testing.T) {
	seen := map[string]rune{}
	for r, g := range glyphs() {
		if other, twice := seen[g]; twice {
			t.Errorf("%q looks like %q", r, other)
		}
		seen[g] = r
		rows := strings.Split(g, "/")
		if len(rows) != glyphHeight {
			t.Errorf("%q has %d rows, want %d", r, len(rows), glyphHeight)
		}
		for _, row := range rows {
			if len(row) != glyphWidth {
				t.Errorf("%q: row %q is not %d wide", r, row, glyphWidth)
			}
		}
	}
}

// A log that remembers which sounds were asked for.
type soundLog []checklist.Sound

func (l *soundLog) Play(s checklist.Sound) { *l = append(*l, s) }

func TestWhatIsHeardAndReadFromAfar(t *testing.T) {
	var shown bytes.Buffer
	var heard soundLog
	p := newTerminalPerson(&shown, false, &heard, "Ada")
	if err := p.Instruct(t.Context(), checklist.Instruction{Act: checklist.ActPresent, Text: "Show it.", Figure: "3/14"}); err != nil {
		t.Fatal(err)
	}
	p.Hear(checklist.Signal{Sound: checklist.SoundGood, Word: "READ", Figure: "3/14"})
	p.Hear(checklist.Signal{Sound: checklist.SoundBad, Word: "FAILED", Decided: true})
	p.repeat()
	want := "=> Show it.\n● READ 3/14\n=> Show it.\n"
	if shown.String() != want {
		t.Errorf("shown %q, want %q", shown.String(), want)
	}
	sounds := []checklist.Sound{checklist.SoundNeed, checklist.SoundGood, checklist.SoundBad, checklist.SoundNeed}
	if len(heard) != len(sounds) {
		t.Fatalf("heard %v, want %v", heard, sounds)
	}
	for i := range sounds {
		if heard[i] != sounds[i] {
			t.Errorf("heard %v, want %v", heard, sounds)
		}
	}
	shown.Reset()
	p.far = true
	p.Hear(checklist.Signal{Sound: checklist.SoundGood, Word: "PASSED", Decided: true})
	if strings.Count(shown.String(), "\n") != glyphHeight+1 {
		t.Errorf("far: %q, want a word in large text", shown.String())
	}
}
