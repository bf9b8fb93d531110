package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"github.com/spf13/cobra"

	"propwright/checklist/report"
)

func newReportsCmd(d deps) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "reports",
		Short: "Show and verify reports",
		Args:  unknownCommand,
		RunE:  groupRun,
	}
	cmd.AddCommand(newReportsShowCmd(d), newReportsVerifyCmd(d))
	return cmd
}

type reportsOptions struct {
	which   string
	site    string
	signers string
	asJSON  bool
}

func newReportsShowCmd(d deps) *cobra.Command {
	var o reportsOptions
	cmd := &cobra.Command{
		Use:     "show FOLDER|NUMBER",
		Short:   "Show what a report says, and the line that checks its signature",
		Example: "  propwright reports show 7 --site tidewater",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			o.which, o.site = args[0], chosenSite(d, o.site)
			return runReportsShow(d, o)
		},
	}
	addSiteFlag(cmd, &o.site)
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print report.json as it was signed")
	return cmd
}

func newReportsVerifyCmd(d deps) *cobra.Command {
	var o reportsOptions
	cmd := &cobra.Command{
		Use:   "verify FOLDER|NUMBER",
		Short: "Check a report's signature and everything in its bundle",
		Long: `verify checks that the signature holds and by whose key, that report.json keeps to
its schema, that every file is the one that was signed for, and that the page is
what report.json makes. While a further sitting is open its records go on after
what is signed: they are checked up to there, and the rest is named as unsigned.
Whose keys are believed is taken from --signers, else from the site that the folder
lies in; without either, the key is known only from the bundle itself, and the
answer says so.`,
		Example: "  propwright reports verify 7 --site tidewater",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			o.which, o.site = args[0], chosenSite(d, o.site)
			return runReportsVerify(d, o)
		},
	}
	addSiteFlag(cmd, &o.site)
	cmd.Flags().StringVar(&o.signers, "signers", "", "allowed_signers file with the keys to believe")
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print the outcome as JSON")
	return cmd
}

// reportFolder finds a report by its folder or its number.
func reportFolder(o reportsOptions) (string, error) {
	number, err := strconv.Atoi(o.which)
	if err != nil {
		return o.which, nil
	}
	reports := filepath.Join(o.site, "reports")
	found, err := os.ReadDir(reports)
	if err != nil {
		return "", toolError{what: fmt.Sprintf("reports of site %q", o.site), err: withoutPath(err), try: "--site with the site's folder, or the report's own folder"}
	}
	for _, f := range found {
		if n, _, ok := splitRunName(f.Name()); ok && n == number {
			return filepath.Join(reports, f.Name()), nil
		}
	}
	return "", toolError{what: fmt.Sprintf("report %d", number), err: errors.New("not in this site"), try: "ls " + reports}
}

func runReportsShow(d deps, o reportsOptions) error {
	dir, err := reportFolder(o)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(filepath.Join(dir, report.FileReport))
	if err != nil {
		return toolError{what: fmt.Sprintf("report %q", dir), err: withoutPath(err), try: "the folder that a finished sitting names in its last line"}
	}
	m, err := report.Parse(text)
	if err != nil {
		return toolError{what: fmt.Sprintf("report %q", dir), err: err, try: "propwright reports verify " + dir}
	}
	if o.asJSON {
		_, err = d.out.Write(append(text, '\n'))
		return err
	}
	shown, err := report.Show(m)
	if err != nil {
		return toolError{what: fmt.Sprintf("report %q", dir), err: err}
	}
	_, err = fmt.Fprint(d.out, shown)
	return err
}

func runReportsVerify(d deps, o reportsOptions) error {
	dir, err := reportFolder(o)
	if err != nil {
		return err
	}
	if _, err := os.Stat(dir); err != nil {
		return toolError{what: fmt.Sprintf("report %q", dir), err: withoutPath(err), try: "the folder that a finished sitting names in its last line"}
	}
	trust, err := trustFor(dir, o)
	if err != nil {
		return err
	}
	result, problems := report.Verify(dir, trust)
	if o.asJSON {
		err = printVerifyJSON(d, dir, result, problems)
	} else {
		err = printVerify(d, dir, result, problems)
	}
	if err == nil && len(problems) > 0 {
		return errVerdict
	}
	return err
}

// trustFor finds whose keys to believe: the file named, or the site's that the
// report lies in or that is named.
func trustFor(dir string, o reportsOptions) (report.Trust, error) {
	if o.signers != "" {
		signers, err := os.ReadFile(o.signers)
		if err != nil {
			return report.Trust{}, toolError{what: fmt.Sprintf("signers %q", o.signers), err: withoutPath(err)}
		}
		return report.Trust{Signers: signers}, nil
	}
	for _, site := range []string{filepath.Dir(filepath.Dir(filepath.Clean(dir))), o.site} {
		signers, err := os.ReadFile(filepath.Join(site, "keys", report.FileSigners))
		if err == nil {
			return report.Trust{Signers: signers}, nil
		}
	}
	return report.Trust{}, nil
}

func printVerify(d deps, dir string, r report.Result, problems []report.Problem) error {
	for _, p := range problems {
		fmt.Fprintf(d.out, "▲ %s\n", p)
	}
	if r.Report.Number > 0 {
		fmt.Fprintln(d.out, report.Summary(r.Report))
	}
	fmt.Fprintln(d.out, r.Word())
	for _, b := range r.Beyond {
		fmt.Fprintf(d.out, "◇ %s\n", b)
	}
	if len(problems) > 0 {
		_, err := fmt.Fprintf(d.out, "▲ %s: %d things do not hold\n", dir, len(problems))
		return err
	}
	_, err := fmt.Fprintf(d.out, "● %s: everything holds, %d files compared\n", dir, r.Files)
	return err
}

func printVerifyJSON(d deps, dir string, r report.Result, problems []report.Problem) error {
	lines := []string{}
	for _, p := range problems {
		lines = append(lines, p.String())
	}
	beyond := []map[string]any{}
	for _, b := range r.Beyond {
		beyond = append(beyond, map[string]any{"file": b.File, "signed": b.Signed, "unsigned": b.Unsigned})
	}
	enc := json.NewEncoder(d.out)
	enc.SetIndent("", "  ")
	return enc.Encode(map[string]any{
		"beyond": beyond, "folder": dir, "holds": len(problems) == 0, "problems": lines, "number": r.Report.Number, "virtual": r.Report.Virtual,
		"verdict": r.Report.Verdict, "key": r.Key, "trusted": r.Trusted, "files": r.Files,
	})
}
