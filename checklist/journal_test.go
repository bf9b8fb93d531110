package checklist_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/parsers"
)

func sampleEntries(t testing.TB) []checklist.Entry {
	t.Helper()
	uid, err := parsers.ParseUID("04 A1 B2 C3 D4 E5 F6")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2031, 3, 1, 9, 0, 0, 123456789, time.UTC)
	v := 5.02
	added := parsers.Event{
		Seq: 1, First: at, Last: at, Kind: parsers.KindCardAdded, Reader: parsers.NoReader, Lines: [2]int{1, 1},
		Raw: []byte("card \\ \x00\xff added"), End: "\r\n", Profile: "plain",
	}.Holding(map[string]string{"uid": uid.String()})
	return []checklist.Entry{
		{N: 1, At: at, Type: checklist.EntryRun, Run: &checklist.RunHeader{Number: 7, Procedure: "new", Clock: "real"}},
		{N: 2, At: at, Type: checklist.EntryBegin, Sitting: checklist.Bench, Step: "wiring"},
		{N: 3, At: at, Type: checklist.EntryAnswer, Answer: &checklist.Answer{Question: checklist.Question{Step: "wiring", Key: "supply"}, Value: &v, Unit: "V", By: "bench"}},
		{N: 4, At: at, Type: checklist.EntryEvent, Event: &added},
		{N: 5, At: at, Type: checklist.EntryFrame, Frame: &checklist.Frame{At: at, Kind: checklist.FrameRequest, Conn: 1, Function: 5, Address: 116, Coil: 117, Values: []int{1}, Answer: "ok"}},
		{N: 6, At: at, Type: checklist.EntryVerdict, Outcome: &checklist.Outcome{Verdict: checklist.Passed, Attempts: 1}},
	}
}

func writeJournal(t testing.TB, path string, entries []checklist.Entry) []byte {
	t.Helper()
	j, had, err := checklist.OpenJournal(path)
	if err != nil || len(had) != 0 {
		t.Fatalf("OpenJournal = %d entries, %v; want an empty journal", len(had), err)
	}
	for _, e := range entries {
		if err := j.Keep(e); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestJournalGivesBackWhatWasKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.jsonl")
	want := sampleEntries(t)
	writeJournal(t, path, want)
	j, got, err := checklist.OpenJournal(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(parsers.UID{})); diff != "" {
		t.Errorf("entries (-want +got):\n%s", diff)
	}
}

// A run that is ended at any byte leaves a prefix of its entries.
func TestJournalCutAnywhereIsAPrefix(t *testing.T) {
	dir := t.TempDir()
	want := sampleEntries(t)
	text := writeJournal(t, filepath.Join(dir, "whole.jsonl"), want)
	for cut := range len(text) + 1 {
		path := filepath.Join(dir, "cut.jsonl")
		if err := os.WriteFile(path, text[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		j, got, err := checklist.OpenJournal(path)
		if err != nil {
			t.Fatalf("cut at byte %d: %v", cut, err)
		}
		if lines := bytes.Count(text[:cut], []byte("\n")); len(got) != lines {
			t.Fatalf("cut at byte %d: %d entries, want %d", cut, len(got), lines)
		}
		// What is appended next must stand on a line of its own.
		next := want[0]
		next.N = int64(len(got)) + 1
		if err := j.Keep(next); err != nil {
			t.Fatal(err)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		if _, again, err := checklist.OpenJournal(path); err != nil || len(again) != len(got)+1 {
			t.Fatalf("cut at byte %d and gone on: %d entries, %v; want %d", cut, len(again), err, len(got)+1)
		}
	}
}

func TestJournalNamesTheBrokenLine(t *testing.T) {
	for name, tt := range map[string]struct{ text, want string }{
		"no JSON":        {"{\"n\":1,\"at\":\"2031-03-01T09:00:00Z\",\"type\":\"note\"}\nrubbish\n", "line 2"},
		"number missed":  {"{\"n\":2,\"at\":\"2031-03-01T09:00:00Z\",\"type\":\"note\"}\n", "field n: 2, want 1"},
		"type unknown":   {"{\"n\":1,\"at\":\"2031-03-01T09:00:00Z\",\"type\":\"wish\"}\n", `field type: "wish"`},
		"record missing": {"{\"n\":1,\"at\":\"2031-03-01T09:00:00Z\",\"type\":\"frame\"}\n", `field type: "frame"`},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "journal.jsonl")
			if err := os.WriteFile(path, []byte(tt.text), 0o600); err != nil {
				t.Fatal(err)
			}
			_, _, err := checklist.OpenJournal(path)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("OpenJournal = %v; want an error with %q", err, tt.want)
			}
			if after, _ := os.ReadFile(path); string(after) != tt.text {
				t.Errorf("the broken file was changed to %q", after)
			}
		})
	}
}

func FuzzReadJournal(f *testing.F) {
	f.Add(writeJournal(f, filepath.Join(f.TempDir(), "j"), sampleEntries(f)))
	f.Add([]byte("{}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		entries, good, err := checklist.ReadJournal(bytes.NewReader(text))
		if good > int64(len(text)) || good > 0 && text[good-1] != '\n' {
			t.Errorf("good = %d of %d bytes, not at the end of a line", good, len(text))
		}
		if err == nil && len(entries) != bytes.Count(text[:good], []byte("\n")) {
			t.Errorf("%d entries of %d lines", len(entries), bytes.Count(text[:good], []byte("\n")))
		}
		checklist.Outcomes(entries, checklist.Procedure{})
		_ = checklist.SameBoard(entries)
		checklist.NewLog(bubbleClock{}, &memory{}, entries).Belief()
	})
}
