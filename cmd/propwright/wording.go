package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"propwright/parsers"
)

func newWordingCmd(d deps) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "wording",
		Short: "How the firmware of boards speaks",
		Long: `A wording says which line of a firmware means what. Some are built in; a site may
have more, as NAME.toml in the folder wordings of its own folder.`,
		Example: `  propwright wording list
  propwright wording show plain
  propwright wording check my-firmware.toml`,
		Args: unknownCommand,
		RunE: groupRun,
	}
	cmd.AddCommand(newWordingListCmd(d), newWordingShowCmd(d), newWordingCheckCmd(d), newWordingLearnCmd(d))
	return cmd
}

func newWordingListCmd(d deps) *cobra.Command {
	var site string
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List the wordings: built in, and the site's",
		Example: "  propwright wording list",
		Args:    checkArgs(cobra.NoArgs),
		RunE:    func(*cobra.Command, []string) error { return runWordingList(d, chosenSite(d, site)) },
	}
	addSiteFlag(cmd, &site)
	return cmd
}

func runWordingList(d deps, site string) error {
	rows := [][]string{{"NAME", "FROM", "WHAT IT READS"}}
	for _, name := range parsers.Builtin() {
		p, err := parsers.BuiltinProfile(name)
		if err != nil {
			return toolError{err: err}
		}
		rows = append(rows, []string{name, "built in", p.About()})
	}
	own, err := siteWordings(site)
	if err != nil {
		return err
	}
	for _, name := range own {
		p, err := loadWording(wordingFile(site, name))
		if err != nil {
			rows = append(rows, []string{name, "the site", "cannot be used: " + err.Error()})
			continue
		}
		rows = append(rows, []string{name, "the site", p.About()})
	}
	return printRows(d.out, rows)
}

func wordingFile(site, name string) string { return filepath.Join(site, "wordings", name+".toml") }

// siteWordings are the names of a site's own wordings, none where it has none.
func siteWordings(site string) ([]string, error) {
	dir := filepath.Join(site, "wordings")
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("wordings %q", dir), err: withoutPath(err)}
	}
	var names []string
	for _, e := range entries {
		if name, ok := strings.CutSuffix(e.Name(), ".toml"); ok && !e.IsDir() {
			names = append(names, name)
		}
	}
	return names, nil
}

func loadWording(file string) (*parsers.Profile, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("wording %q: %w", file, withoutPath(err))
	}
	defer f.Close()
	return parsers.LoadProfile(file, f)
}

func newWordingShowCmd(d deps) *cobra.Command {
	var site string
	cmd := &cobra.Command{
		Use:     "show NAME",
		Short:   "Print a wording's file, to read or to start one of your own from",
		Example: "  propwright wording show plain > my-firmware.toml",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(_ *cobra.Command, args []string) error { return runWordingShow(d, chosenSite(d, site), args[0]) },
	}
	addSiteFlag(cmd, &site)
	return cmd
}

func runWordingShow(d deps, site, name string) error {
	own, err := siteWordings(site)
	if err != nil {
		return err
	}
	var text []byte
	switch {
	case slices.Contains(parsers.Builtin(), name):
		p, err := parsers.BuiltinProfile(name)
		if err != nil {
			return toolError{err: err}
		}
		text = p.Source()
	case slices.Contains(own, name):
		// As it is, also where it cannot be used: showing it is how one finds out.
		file := wordingFile(site, name)
		if text, err = os.ReadFile(file); err != nil {
			return toolError{what: fmt.Sprintf("wording %q", file), err: withoutPath(err)}
		}
		text = []byte(printableLines(string(text)))
	default:
		return hintedError{usageError{fmt.Errorf("wording %q: not known, there are: %s", name, strings.Join(append(parsers.Builtin(), own...), ", "))}, "propwright wording list"}
	}
	_, err = d.out.Write(text)
	return err
}

// printableLines makes each line of a text harmless for a terminal and leaves
// what TOML needs: line ends, tabs and backslashes.
func printableLines(text string) string {
	lines := strings.SplitAfter(text, "\n")
	for i, line := range lines {
		body := strings.TrimSuffix(line, "\n")
		parts := strings.FieldsFunc(body, func(r rune) bool { return r == '\t' || r == '\\' })
		if !slices.ContainsFunc(parts, func(p string) bool { return parsers.Printable(p) != p }) {
			continue
		}
		lines[i] = parsers.Printable(body) + line[len(body):]
	}
	return strings.Join(lines, "")
}

func newWordingCheckCmd(d deps) *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE",
		Short: "Check a wording file",
		Long: `check reads a wording file as the other commands would. What is wrong goes to
stdout with its file and line, and the exit status is 1.`,
		Example: "  propwright wording check my-firmware.toml",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(_ *cobra.Command, args []string) error { return runWordingCheck(d, args[0]) },
	}
}

func runWordingCheck(d deps, file string) error {
	p, err := loadWording(file)
	if _, ok := errors.AsType[*fs.PathError](err); ok || errors.Is(err, fs.ErrNotExist) || errors.Is(err, io.ErrUnexpectedEOF) {
		return toolError{err: err, try: "the path of a wording file"}
	}
	if _, ok := errors.AsType[*parsers.ProfileError](err); ok {
		if _, err := fmt.Fprintln(d.out, oneLine(err.Error())); err != nil {
			return err
		}
		return errVerdict
	}
	if err != nil {
		return toolError{err: err, try: "the path of a wording file"}
	}
	_, err = fmt.Fprintf(d.out, "%s: wording %q, lines: %d, no fault found\n", parsers.Printable(file), p.Name(), len(p.Lines()))
	return err
}

// withoutPath is the reason of a path's error; who wraps it names the path.
func withoutPath(err error) error {
	if e, ok := errors.AsType[*fs.PathError](err); ok {
		return e.Err
	}
	return err
}
