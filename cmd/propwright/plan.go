package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"github.com/spf13/cobra"

	"propwright/checklist/plan"
	"propwright/checklist/store"
)

// siteVariable names the environment variable that stands in for --site.
const siteVariable = "PROPWRIGHT_SITE"

func newPlanCmd(d deps) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "The site's things and numbers",
		Long: `plan keeps what a site owns: controllers, boards, readers, props and tags, with
the numbers that belong to each. No coil, address or tag can be given out twice.

The site is the folder given with --site, else the one that the environment
variable PROPWRIGHT_SITE names, else the current folder.`,
		Example: `  propwright plan init --site tidewater --name "The Tidewater Rooms"
  propwright plan add controller bay-1 address=10.77.0.10 base=1 --site tidewater
  propwright plan list --site tidewater`,
		Args: unknownCommand,
		RunE: groupRun,
	}
	cmd.AddCommand(newPlanInitCmd(d), newPlanAddCmd(d), newPlanListCmd(d))
	return cmd
}

// addSiteFlag gives a command the flag that every command with a site has.
func addSiteFlag(c *cobra.Command, site *string) {
	c.Flags().StringVar(site, "site", "", "the site's folder (default: $"+siteVariable+", else the current folder)")
}

// chosenSite is the site's folder as the flag, the environment or nobody says.
// Parent folders are not searched: what is written must not depend on a folder
// that nobody thought of.
func chosenSite(d deps, flag string) string {
	if flag != "" {
		return flag
	}
	if v := d.env(siteVariable); v != "" {
		return v
	}
	return "."
}

// sitePlan is a site's folder with its store open.
type sitePlan struct {
	plan.Folder
	store *store.SQLite
}

// openPlan opens the site that the flag chooses. The caller closes it.
func openPlan(ctx context.Context, d deps, flag string) (*sitePlan, error) {
	dir := chosenSite(d, flag)
	folder, err := plan.OpenFolder(dir)
	if errors.Is(err, plan.ErrNoSite) {
		return nil, toolError{err: err, try: fmt.Sprintf("propwright plan init --site %q, or --site with the folder of a site", dir)}
	}
	if err != nil {
		return nil, toolError{err: err}
	}
	path, local := folder.StorePath()
	if !local {
		return nil, toolError{what: "store", err: errors.New("this version keeps plans in a file of the site's folder only"), try: `store = "site.db" in site.toml`}
	}
	s, err := store.Open(ctx, path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, toolError{err: err, try: "the site's folder as a whole, from a copy that has this file"}
	}
	if err != nil {
		return nil, toolError{err: err}
	}
	return &sitePlan{folder, s}, nil
}

// Load returns the plan as it is now.
func (s *sitePlan) Load(ctx context.Context) (plan.Plan, error) {
	p, err := s.store.Load(ctx)
	if err != nil {
		return plan.Plan{}, toolError{err: err}
	}
	p.Site = plan.Site{Name: s.File.Name}
	return p, nil
}

// Close lets go of the store.
func (s *sitePlan) Close() error { return s.store.Close() }
