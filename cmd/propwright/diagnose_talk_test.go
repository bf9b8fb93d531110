package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// talkWith plays a person at a terminal who says these lines, and returns what was said to
// them, what went to stdout, and the error.
func talkWith(t *testing.T, o diagnoseOptions, lines ...string) (said, out string, err error) {
	t.Helper()
	d := testDeps()
	var outText, errText bytes.Buffer
	d.in, d.out, d.err = strings.NewReader(strings.Join(lines, "\n")+"\n"), &outText, &errText
	d.inTTY, d.outTTY, d.errTTY = true, true, true
	o.seconds, o.site = time.Second, t.TempDir()
	err = runDiagnose(t.Context(), d, o)
	return errText.String(), outText.String(), err
}

// At a terminal it asks for the minutes first, reads answers back, comes to a cause, and
// says what proves its repair.
func TestDiagnoseTalk(t *testing.T) {
	log := filepath.Join(t.TempDir(), "zero.log")
	text := "boot: starting reader\nreader: version 0x0 (unknown)\nreader: warning, no communication\nboot: ready, waiting for a tag\n"
	if err := os.WriteFile(log, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	page := filepath.Join(t.TempDir(), "page.html")
	said, out, err := talkWith(t, diagnoseOptions{from: log, page: page},
		"", "2", "header pressed=version turns good", "version-ten=zero", "show-tag=none", "follow-wires=right", "module-led=lit", "measure-33=good", "swap-module=cured", "select-pins=own", "yes", "n", "n")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"How many minutes", "taken as: header-pressed=cured", "=> Pin header or joint has no contact", "did it cure?", "propwright commission PROP"} {
		if !strings.Contains(said, want) {
			t.Errorf("it never said %q; it said:\n%s", want, said)
		}
	}
	if out != "cured, as was said: Pin header or joint has no contact\n" {
		t.Errorf("stdout %q", out)
	}
	if made, err := os.ReadFile(page); err != nil || !strings.Contains(string(made), "Cured, as was said.") {
		t.Errorf("page %q, %v; want the story in it", made, err)
	}
}

// A repair that does not cure, few minutes, an answer that is none, and an end in between.
func TestDiagnoseTalkGoesOn(t *testing.T) {
	said, out, err := talkWith(t, diagnoseOptions{}, "4", "wombat", "9", "link-lamp=down", "another network cable=link comes", "ping=none", "no", "q")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"By-pass the prop at the controller now", `"wombat" is none of these`, "=> No link", "other-net-cable=cured"} {
		if !strings.Contains(said, want) {
			t.Errorf("it never said %q; it said:\n%s", want, said)
		}
	}
	if !strings.Contains(out, "network-cable-out repaired, not cured") {
		t.Errorf("the result does not tell of the repair: %s", out)
	}
}

// After a cure a page and a bundle are offered where none was asked for; what is named is
// written, and without an answer nothing is.
func TestDiagnoseTalkOffersItsFiles(t *testing.T) {
	dir := t.TempDir()
	page, bundle := filepath.Join(dir, "found.html"), filepath.Join(dir, "handed-on")
	said, out, err := talkWith(t, diagnoseOptions{}, "", "symptom=controller", "link-lamp=down", "another network cable=link comes", "ping=none", "yes", page, bundle)
	if err != nil || !strings.HasPrefix(out, "cured, as was said: ") {
		t.Fatalf("%v, stdout %q; it said:\n%s", err, out, said)
	}
	for _, name := range []string{page, filepath.Join(bundle, "diagnosis.html"), filepath.Join(bundle, "diagnosis.json"), filepath.Join(bundle, "answers.txt")} {
		if text, err := os.ReadFile(name); err != nil || !strings.Contains(string(text), "link") {
			t.Errorf("%s: %q, %v; want what was told", name, text, err)
		}
	}
	if said, _, err := talkWith(t, diagnoseOptions{}, "", "symptom=controller", "link-lamp=down", "another network cable=link comes", "ping=none", "yes", "", ""); err != nil || strings.Contains(said, "page: ") || strings.Contains(said, "bundle: ") {
		t.Errorf("%v; without a name it wrote:\n%s", err, said)
	}
}

// A log in no known wording is said to be one before anything is asked of it, with what
// teaches it.
func TestDiagnoseTalkOffersToLearnAWording(t *testing.T) {
	log := filepath.Join(t.TempDir(), "strange.log")
	if err := os.WriteFile(log, []byte("zork glip 1\nzork glip 2\nblah quux\nfrob\nzork glip 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	said, _, err := talkWith(t, diagnoseOptions{from: log}, "", "", "q")
	said = strings.Join(strings.Fields(said), " ") // lines are broken between words
	if err != nil || !strings.Contains(said, "No wording knows this text") || !strings.Contains(said, "propwright wording learn "+log) {
		t.Errorf("%v; it said:\n%s", err, said)
	}
}
