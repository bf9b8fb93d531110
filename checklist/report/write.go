package report

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"propwright/checklist"
)

// Write makes the bundle of a sitting in dir, where the run's own records lie
// (console.raw and arrivals.csv where there was a port, journal.jsonl,
// procedure.toml), and returns the report. Everything that dir holds becomes part
// of the bundle: nothing may be added to it afterwards but by a further sitting.
//
// The report of an earlier sitting is kept as SITTING.report.json with its
// signature; an earlier issue of the same sitting is replaced, and its digest
// remembered. Each file appears whole or not at all; report.json, its signature
// and the HTML come last, in that order, so a crash leaves a bundle that Verify
// refuses and that a further Write makes good.
func Write(dir string, entries []checklist.Entry, plan []checklist.Step, in Inputs, key Key) (Model, error) {
	if _, err := key.signer(); err != nil {
		return Model{}, fmt.Errorf("report: %w", err)
	}
	in.Signer.Key, in.DemoKey = key.ID(), key.Demo()
	if err := sweep(dir); err != nil {
		return Model{}, err
	}
	if err := keepEarlier(dir, entries, &in); err != nil {
		return Model{}, err
	}
	if err := writeRecords(dir, entries, &in, key); err != nil {
		return Model{}, err
	}
	var err error
	if in.Files, err = digestFiles(dir); err != nil {
		return Model{}, err
	}
	m, err := Build(entries, plan, in)
	if err != nil {
		return Model{}, err
	}
	return m, writeReport(dir, m, key)
}

// writeRecords writes what the log holds of the records, and sees to it that the
// log in hand is the one on disk.
func writeRecords(dir string, entries []checklist.Entry, in *Inputs, key Key) error {
	journal, err := os.ReadFile(filepath.Join(dir, FileJournal))
	if err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	if n := bytes.Count(journal, []byte("\n")); n != len(entries) {
		return fmt.Errorf("bundle: %s: %d entries, the run has %d", FileJournal, n, len(entries))
	}
	console, err := os.ReadFile(filepath.Join(dir, FileConsole))
	if errors.Is(err, os.ErrNotExist) {
		// A run without a port has no console, and an empty file says so.
		err = replaceFile(dir, FileConsole, nil)
	}
	if err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	read, err := readConsole(entries)
	if err != nil {
		return fmt.Errorf("bundle: %s: %w", FileJournal, err)
	}
	if !bytes.HasPrefix(console, read) {
		return fmt.Errorf("bundle: %s: not what the run's events say was received", FileConsole)
	}
	in.Console = Console{Bytes: Int(len(console)), Read: Int(len(read))}
	events, err := eventLines(entries)
	if err != nil {
		return err
	}
	frames, err := frameLines(entries)
	if err != nil {
		return err
	}
	signers, err := os.ReadFile(filepath.Join(dir, FileSigners))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("bundle: %w", err)
	}
	if err := checkPrincipal(in.Signer.Principal); err != nil {
		return err
	}
	return errors.Join(
		replaceFile(dir, FileEvents, events),
		replaceFile(dir, FileFrames, frames),
		replaceFile(dir, FileSigners, addSigner(signers, in.Signer.Principal, key.Public())),
	)
}

// writeReport writes what is signed, the signature and what is made from it.
func writeReport(dir string, m Model, key Key) error {
	signed, err := Canonical(m)
	if err != nil {
		return err
	}
	if err := Validate(signed); err != nil {
		return err
	}
	sig, err := Sign(key, signed)
	if err != nil {
		return err
	}
	page, err := RenderHTML(signed)
	if err != nil {
		return err
	}
	if err := replaceFile(dir, FileReport, signed); err != nil {
		return err
	}
	if err := replaceFile(dir, FileSignature, sig); err != nil {
		return err
	}
	return replaceFile(dir, FileHTML, page)
}

// keepEarlier looks at the report that the folder already has. One of another
// sitting is copied to its own name, with its signature; one of this sitting gives
// this report its issue number.
func keepEarlier(dir string, entries []checklist.Entry, in *Inputs) error {
	old, err := os.ReadFile(filepath.Join(dir, FileReport))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	m, err := Parse(old)
	if err != nil {
		return fmt.Errorf("bundle: %s: in the way: %w", FileReport, err)
	}
	if run, err := header(entries); err == nil && run.Number != m.Number {
		return fmt.Errorf("bundle: %s: is report %d, the run is %d", FileReport, m.Number, run.Number)
	}
	sig, err := os.ReadFile(filepath.Join(dir, FileSignature))
	if errors.Is(err, os.ErrNotExist) {
		return nil // broken off before it was signed, so nobody's report
	}
	if err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	in.Earlier = m.Sittings
	if m.Sitting == in.Sitting {
		in.Issue, in.Replaces = m.Issue+1, Digest(old)
		return nil
	}
	if before, err := os.ReadFile(filepath.Join(dir, earlierName(in.Sitting, FileReport))); err == nil {
		if b, err := Parse(before); err == nil {
			in.Issue, in.Replaces = b.Issue+1, Digest(before)
		}
	}
	return errors.Join(
		replaceFile(dir, earlierName(m.Sitting, FileReport), old),
		replaceFile(dir, earlierName(m.Sitting, FileSignature), sig),
	)
}

// earlierName is the name under which an earlier sitting's report is kept.
func earlierName(s checklist.Sitting, name string) string { return string(s) + "." + name }
