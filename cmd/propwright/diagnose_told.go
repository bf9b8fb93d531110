package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"propwright/checklist"
	"propwright/checklist/diagnose"
)

// A told is one thing that was told or measured in a talk: a line of the talk's file. All
// that a talk knows of its own comes from them, so that one that was cut off goes on where
// it was.
type told struct {
	At      time.Time `json:"at"`
	Of      string    `json:"of,omitempty"`      // the failed step that the talk is about; "" for none
	Minutes float64   `json:"minutes,omitempty"` // until the prop is needed
	Test    string    `json:"test,omitempty"`    // that was asked or made
	Answer  string    `json:"answer,omitempty"`  // TEST=RESULT; with Test "" it was said of its own
	Skipped bool      `json:"skipped,omitempty"` // the test cannot be made
	// Of a test that was made at the port.
	Script  string             `json:"script,omitempty"`
	Figures []diagnose.Figures `json:"figures,omitempty"`
	Volts   float64            `json:"volts,omitempty"`
	Words   string             `json:"words,omitempty"`
	Found   []string           `json:"found,omitempty"` // FINDING=VALUE
	// Of a repair.
	Repair *checklist.DiagnosisRepair `json:"repair,omitempty"`
	Ended  string                     `json:"ended,omitempty"` // how the talk ended; without it, it was cut off
}

// How a talk ends.
const (
	endedCured   = "cured"
	endedStopped = "stopped"
	endedOpen    = "no test left"
	endedLeft    = "begun anew"
)

// toldFile is where a talk of a prop is kept: with the site, or where there is no site
// beside what is at hand.
func toldFile(site, prop string) string {
	name := firstOf(prop, "unnamed") + ".jsonl"
	if exists(filepath.Join(site, "site.toml")) {
		return filepath.Join(site, "diagnoses", name)
	}
	return filepath.Join(site, "diagnosis-"+name)
}

// cutOff are the lines of the talk that was not ended, nil for none. A last line that was
// cut in the middle does not count.
func cutOff(file, step string) ([]told, error) {
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var open []told
	for n := 1; ; n++ {
		line, rest, whole := bytes.Cut(text, []byte("\n"))
		if !whole {
			return open, nil
		}
		text = rest
		var one told
		if err := json.Unmarshal(line, &one); err != nil {
			return nil, fmt.Errorf("%s: line %d: %w", file, n, err)
		}
		switch {
		case one.Of != step:
		case one.Ended != "":
			open = nil
		default:
			open = append(open, one)
		}
	}
}

// keepTold appends a line to a talk's file. It is on the disk when it returns.
func keepTold(file string, one told) (err error) {
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return err
	}
	line, err := json.Marshal(one)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	end, err := wholeLines(f)
	if err != nil {
		return err
	}
	if err := f.Truncate(end); err != nil {
		return err
	}
	if _, err := f.WriteAt(append(line, '\n'), end); err != nil {
		return err
	}
	return f.Sync()
}

// wholeLines is how many bytes the whole lines of a file take.
func wholeLines(f *os.File) (int64, error) {
	in, end := bufio.NewReader(f), int64(0)
	for {
		line, err := in.ReadBytes('\n')
		if err == nil {
			end += int64(len(line))
			continue
		}
		if errors.Is(err, io.EOF) {
			return end, nil
		}
		return 0, err
	}
}

// keep takes what was told, and puts it on the disk first.
func (t *talk) keep(one told) error {
	one.At, one.Of = t.d.now(), t.of
	if t.file != "" {
		if err := keepTold(t.file, one); err != nil {
			return toolError{what: fmt.Sprintf("keep the talk in %q", t.file), err: withoutPath(err), try: "make room or take another folder with --site"}
		}
	}
	return t.apply(one)
}

// apply takes what was told, now or in an earlier sitting.
func (t *talk) apply(one told) error {
	test := t.k.Test(one.Test)
	if one.Test != "" && test < 0 {
		return nil // the knowledge has changed meanwhile
	}
	if one.Minutes > 0 {
		t.situation.Minutes = one.Minutes
	}
	if test >= 0 {
		k := &t.k.Tests[test]
		t.situation.Done[test] = true
		if !one.Skipped {
			t.situation.Opened = t.situation.Opened || k.Opens
			if t.situation.Minutes > 0 {
				t.situation.Minutes = max(1, t.situation.Minutes-k.Minutes)
			}
		}
	}
	switch {
	case one.Skipped:
		t.test(t.k.Tests[test].Ask, "Not done")
	case one.Script != "":
		t.measured(test, one)
	case one.Repair != nil:
		return t.repaired(*one.Repair)
	case one.Answer != "":
		return t.answer(test, one.Answer)
	}
	return nil
}

// measured takes what a script came to.
func (t *talk) measured(test int, one told) {
	h := diagnose.Heard{Told: one.Test + " (measured): " + one.Words, As: []string{}}
	for _, id := range one.Found {
		if e, ok := t.k.Measured(id, one.Words); ok {
			t.answered = append(t.answered, e)
			h.As = append(h.As, id)
		}
	}
	if len(h.As) == 0 {
		h.As = append(h.As, "nothing told apart")
	}
	t.heard = append(t.heard, h)
	t.test("Measured: "+t.k.Tests[test].Ask, one.Words)
}

// ids are evidence as it is kept.
func (t *talk) ids(found []diagnose.Evidence) []string {
	var out []string
	for _, e := range found {
		f := &t.k.Findings[e.Finding]
		out = append(out, f.ID+"="+f.Values[e.Value].ID)
	}
	return out
}

// answer takes an answer to a test, or with a test of -1 one that was said of its own.
func (t *talk) answer(test int, text string) error {
	if err := t.tell(text); err != nil {
		return err
	}
	h := t.heard[len(t.heard)-1]
	if test >= 0 {
		f := &t.k.Findings[t.k.Tests[test].Finding]
		_, value, _ := strings.Cut(text, "=")
		t.test(t.k.Tests[test].Ask, f.Values[max(0, f.Value(value))].Tell)
		return nil
	}
	ask, answer, _ := strings.Cut(h.Told, "=")
	t.test(strings.TrimSpace(ask)+":", strings.TrimSpace(answer))
	return nil
}

// repaired takes a repair that was tried.
func (t *talk) repaired(r checklist.DiagnosisRepair) error {
	came := "Not cured"
	if r.Cured {
		came = "Cured, as was said"
	}
	t.tried[r.Cause.ID] = true
	t.story = append(t.story, "Repaired: "+r.Cause.Title+". "+came+".")
	t.made.Repairs = append(t.made.Repairs, r)
	if r.Cured {
		t.made.Cured = true
		t.heard = append(t.heard, diagnose.Heard{Told: r.Cause.ID + "=yes", As: []string{"cured"}})
		return nil
	}
	return t.tell(r.Cause.ID + "=no")
}

// test puts a test that was made into the story.
func (t *talk) test(ask, answer string) {
	t.story = append(t.story, ask+" "+answer+".")
	t.made.Tests = append(t.made.Tests, checklist.DiagnosisTest{Ask: ask, Answer: answer})
}
