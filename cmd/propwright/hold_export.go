package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist"
	"propwright/checklist/plan"
	"propwright/checklist/report"
)

// The files of an export, besides the folders of the runs.
const (
	exportPlan    = "plan.json"
	exportService = "service.json"
	exportSums    = "SHA256SUMS"
)

type exportOptions struct {
	site, from, to, dir string
}

func newHoldExportCmd(d deps) *cobra.Command {
	var o exportOptions
	cmd := &cobra.Command{
		Use:   "export PROP",
		Short: "Copy everything of a prop for given days",
		Long: `export copies the prop's runs of the days given, whole and with everything that was
heard, its service log of those days, and what the plan has of it. Days are this
computer's, both ends included. The copy holds full UIDs, which are keys: hand it out
accordingly.`,
		Example: "  propwright hold export harbour-bell --from 2026-11-01 --to 2026-11-25 --dir handed-out",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(c *cobra.Command, args []string) error { return runHoldExport(c.Context(), d, o, args[0]) },
	}
	addSiteFlag(cmd, &o.site)
	f := cmd.Flags()
	f.StringVar(&o.from, "from", "", "first day, as 2026-11-01")
	f.StringVar(&o.to, "to", "", "last day")
	f.StringVar(&o.dir, "dir", "", "folder to make the copy in; it must not be there yet")
	return cmd
}

func runHoldExport(ctx context.Context, d deps, o exportOptions, prop string) error {
	from, to, err := daysOf(o.from, o.to, d.now().Location())
	if err != nil {
		return err
	}
	if o.dir == "" {
		return usageError{errors.New("export: give --dir, a folder that is not there yet")}
	}
	st, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer st.Close()
	p, err := st.Load(ctx)
	if err != nil {
		return err
	}
	if _, err := p.PropNamed(prop); err != nil {
		return hintedError{usageError{err}, "propwright plan list props"}
	}
	runs, err := runsBetween(st.Reports(), prop, from, to)
	if err != nil {
		return toolError{what: "reports", err: err}
	}
	n, err := exportTo(o.dir, p, prop, runs, from, to)
	if err != nil {
		return toolError{what: fmt.Sprintf("export %q", o.dir), err: withoutPath(err), try: "--dir with a folder that is not there yet and can be made"}
	}
	fmt.Fprintf(d.err, "%d runs, %d files\n", len(runs), n)
	_, err = fmt.Fprintf(d.out, "export: %s\n", o.dir)
	return err
}

// daysOf reads the first and the last day and returns when the one begins and when
// the other is over.
func daysOf(from, to string, zone *time.Location) (begin, end time.Time, err error) {
	for name, text := range map[string]string{"from": from, "to": to} {
		day, err := time.ParseInLocation(time.DateOnly, text, zone)
		if err != nil {
			return begin, end, usageError{fmt.Errorf("%s %q: give a day as in 2026-11-25", name, text)}
		}
		if name == "from" {
			begin = day
		} else {
			end = day.AddDate(0, 0, 1)
		}
	}
	if !begin.Before(end) {
		return begin, end, usageError{fmt.Errorf("from %s to %s: the first day comes after the last", from, to)}
	}
	return begin, end, nil
}

// runsBetween are a prop's runs of which a part lies between two moments, by folder.
// A run whose journal cannot be read is among them, for nobody knows.
func runsBetween(reports, prop string, from, to time.Time) ([]string, error) {
	found, err := os.ReadDir(reports)
	if err != nil {
		return nil, err
	}
	var runs []string
	for _, f := range found {
		if _, p, ok := splitRunName(f.Name()); !ok || p != prop {
			continue
		}
		dir := filepath.Join(reports, f.Name())
		entries, err := journalOf(dir)
		if err != nil || len(entries) == 0 || entries[0].At.Before(to) && !entries[len(entries)-1].At.Before(from) {
			runs = append(runs, dir)
		}
	}
	return runs, nil
}

// journalOf reads a run's entries without taking hold of the run.
func journalOf(dir string) ([]checklist.Entry, error) {
	f, err := os.Open(filepath.Join(dir, report.FileJournal))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	entries, _, err := checklist.ReadJournal(f)
	return entries, err
}

// exportTo makes the folder and returns how many files it has, the list of sums not
// among them.
func exportTo(dir string, p plan.Plan, prop string, runs []string, from, to time.Time) (int, error) {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return 0, err
	}
	for _, run := range runs {
		if err := copyFolder(filepath.Join(dir, filepath.Base(run)), run); err != nil {
			return 0, err
		}
	}
	own, entries := p.Of(prop), []plan.ServiceEntry{}
	for _, e := range p.ServiceOf(prop) {
		if !e.At.Before(from) && e.At.Before(to) {
			entries = append(entries, e)
		}
	}
	for name, v := range map[string]any{exportPlan: own, exportService: entries} {
		text, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			return 0, err
		}
		if err := os.WriteFile(filepath.Join(dir, name), append(text, '\n'), 0o600); err != nil {
			return 0, err
		}
	}
	return writeSums(dir)
}

// copyFolder copies a folder's files and folders. What is neither is left out: a run
// has none.
func copyFolder(to, from string) error {
	return filepath.WalkDir(from, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		switch {
		case e.IsDir():
			return os.Mkdir(filepath.Join(to, rel), 0o700)
		case e.Type().IsRegular():
			return copyFile(filepath.Join(to, rel), path)
		}
		return nil
	})
}

func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// writeSums lists the SHA-256 of every file below a folder, as sha256sum reads it.
func writeSums(dir string) (int, error) {
	var names []string
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err == nil && e.Type().IsRegular() {
			names = append(names, path)
		}
		return err
	})
	if err != nil {
		return 0, err
	}
	slices.Sort(names)
	var sums bytes.Buffer
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			return 0, err
		}
		rel, err := filepath.Rel(dir, name)
		if err != nil {
			return 0, err
		}
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(data), filepath.ToSlash(rel))
	}
	return len(names), os.WriteFile(filepath.Join(dir, exportSums), sums.Bytes(), 0o600)
}
