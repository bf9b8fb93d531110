package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist/plan"
	"propwright/checklist/report"
	"propwright/checklist/store"
)

// signingKeyName is the file of a site's signing key in its folder of keys.
const signingKeyName = "signing.key"

type planInitOptions struct {
	site string
	name string
}

func newPlanInitCmd(d deps) *cobra.Command {
	var o planInitOptions
	cmd := &cobra.Command{
		Use:   "init",
		Short: "Make a new site's folder",
		Long: `init makes a site's folder: site.toml with its settings, site.db with its plan,
keys with the key that signs reports and the secret behind the fingerprints of
tags, and a folder for reports. It overwrites nothing.`,
		Example: `  propwright plan init --site tidewater --name "The Tidewater Rooms"`,
		Args:    checkArgs(cobra.NoArgs),
		RunE:    func(c *cobra.Command, _ []string) error { return runPlanInit(c.Context(), d, o) },
	}
	addSiteFlag(cmd, &o.site)
	cmd.Flags().StringVar(&o.name, "name", "", "the site's name (default: that of its folder)")
	return cmd
}

func runPlanInit(ctx context.Context, d deps, o planInitOptions) error {
	dir := chosenSite(d, o.site)
	if err := initSite(ctx, dir, o.name, "site "+filepath.Base(dir)); err != nil {
		return err
	}
	_, err := fmt.Fprintf(d.out, "site: %s\n", dir)
	return err
}

// principalOf is the name that a site's own key signs as: the site's name with
// dashes for all that a signer's name may not hold.
func principalOf(siteName string) string {
	words := strings.FieldsFunc(strings.ToLower(siteName), func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9')
	})
	if len(words) == 0 {
		return "site"
	}
	return strings.Join(words, "-")
}

// initSite makes a site's folder with a fresh signing key, whose comment is given.
func initSite(ctx context.Context, dir, name, keyComment string) error {
	if name == "" {
		abs, err := filepath.Abs(dir)
		if err != nil {
			return toolError{what: fmt.Sprintf("site %q", dir), err: err}
		}
		name = filepath.Base(abs)
	}
	_, err := plan.InitFolder(dir, plan.SiteFile{Name: name, Store: "site.db"}, plan.Init{
		Rand: rand.Reader,
		Store: func(path string) error {
			s, err := store.Create(ctx, path)
			if err != nil {
				return err
			}
			return s.Close()
		},
		Keys: func(keys string) error {
			key, err := report.NewKey(rand.Reader, keyComment)
			if err != nil {
				return err
			}
			if err := report.SaveKey(filepath.Join(keys, signingKeyName), key); err != nil {
				return err
			}
			line := report.AllowedSigner(principalOf(name), key.Public())
			return os.WriteFile(filepath.Join(keys, report.FileSigners), line, 0o666)
		},
	})
	if _, ok := errors.AsType[*plan.FieldError](err); ok {
		return hintedError{usageError{err}, `--name "The Tidewater Rooms"`}
	}
	if errors.Is(err, plan.ErrSiteExists) {
		return toolError{err: err, try: "another folder with --site; propwright plan list shows what this one holds"}
	}
	if err != nil {
		return toolError{err: err, try: "--site with a folder that can be written"}
	}
	return nil
}
