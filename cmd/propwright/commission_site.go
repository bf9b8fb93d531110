package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/checklist/plan"
	"propwright/checklist/report"
)

// signingOf is how a person signs: as named, with the key in the file that is given,
// else with the site's.
func signingOf(f plan.Folder, d deps, signer, role, keyFile string) (signing, error) {
	signer = personName(d, signer)
	try := "an Ed25519 key of your own without a passphrase, such as ssh-keygen -t ed25519 -N '' -f FILE makes"
	own := keyFile != ""
	if !own {
		keyFile, try = filepath.Join(f.Keys(), signingKeyName), "the site's folder as a whole, from a copy that has its keys"
	}
	key, err := report.LoadKey(keyFile)
	if err != nil {
		return signing{}, toolError{what: "signing key", err: err, try: try}
	}
	secret, err := f.FingerprintKey()
	if err != nil {
		return signing{}, toolError{what: "fingerprint key", err: err, try: "the site's folder as a whole, from a copy that has its keys"}
	}
	s := signing{
		signer: report.Signer{Name: signer, Role: role, Principal: signerPrincipal(signer, f.File.Name)},
		key:    key, fingerprint: secret, issued: d.now,
	}
	added, err := trustSigner(f, s.signer.Principal, key)
	if err != nil {
		return signing{}, toolError{what: "site's list of signers", err: withoutPath(err), try: "--site with a folder that can be written"}
	}
	if added && own {
		fmt.Fprintf(d.err, "new on the site's list of signers: %s with key %s\n", s.signer.Principal, key.ID())
	}
	return s, nil
}

// personName is the name given, else the user's.
func personName(d deps, given string) string {
	return firstOf(given, d.env("USER"), d.env("USERNAME"), "technician")
}

func firstOf(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

// signerPrincipal is the name that a person's signature for a site is checked by:
// NAME@SITE in plain letters.
func signerPrincipal(signer, site string) string {
	return principalOf(signer) + "@" + principalOf(site)
}

// trustSigner puts a key and a principal on the site's own list of whose signatures
// it believes, unless they are there; reports are verified against that list. Who
// may write in the site's folder may sign for it.
func trustSigner(f plan.Folder, principal string, key report.Key) (added bool, err error) {
	path := filepath.Join(f.Keys(), report.FileSigners)
	line := report.AllowedSigner(principal, key.Public())
	had, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, err
	}
	if strings.Contains("\n"+string(had), "\n"+string(line)) {
		return false, nil
	}
	return true, os.WriteFile(path, append(had, line...), 0o600)
}

// chooseRun picks the run and the sitting: the prop's last run where it is to be
// resumed, looked at again because something changed, or gone on with in the room
// once its bench has passed; else a new run. board is the asset of the board at the
// prop.
func chooseRun(st *sitePlan, o commissionOptions, changed []string, board string) (*runFolder, checklist.Sitting, error) {
	sitting := checklist.Sitting(o.sitting)
	if sitting != "" && sitting != checklist.Bench && sitting != checklist.Site {
		return nil, "", usageError{fmt.Errorf("sitting %q: neither bench nor site", o.sitting)}
	}
	if o.procedure != "" {
		// Before anything else: a name that is wrong is to be said whatever comes next.
		if _, err := loadProcedure(st.Folder, o.procedure); err != nil {
			return nil, "", err
		}
	}
	last, err := latestRunFolder(st.Reports(), o.prop)
	if err != nil {
		return nil, "", toolError{what: "reports", err: err, try: "the site's folder as a whole, from a copy that has its reports"}
	}
	goOn := o.resume || len(changed) > 0
	if last == "" && goOn {
		return nil, "", usageError{fmt.Errorf("resume: prop %q has no run yet", o.prop)}
	}
	if last != "" && (goOn || sitting != checklist.Bench) {
		folder, err := openRunFolder(last)
		if err != nil {
			return nil, "", toolError{what: fmt.Sprintf("run %q", last), err: err}
		}
		other := o.procedure != "" && folder.header() != nil && folder.header().Procedure != o.procedure
		if goOn || !other && (sitting == checklist.Site || folder.benchPassed() && folder.due() == checklist.Site) {
			next, err := takeUp(folder, sitting, o, changed)
			if err != nil || next != "" {
				return folder, next, closeIf(folder, err)
			}
		}
		if err := folder.journal.Close(); err != nil {
			return nil, "", toolError{what: fmt.Sprintf("run %q", last), err: err}
		}
	}
	return beginRun(st, o, sitting, board)
}

// beginRun makes the folder of a new run, by the procedure asked for or else by the
// one that the prop's earlier runs propose, which is said.
func beginRun(st *sitePlan, o commissionOptions, sitting checklist.Sitting, board string) (*runFolder, checklist.Sitting, error) {
	name, why := o.procedure, ""
	if name == "" {
		runs, err := pastRuns(st.Reports(), o.prop)
		if err != nil {
			return nil, "", toolError{what: "reports", err: err}
		}
		name, why = propose(runs, board)
		why = fmt.Sprintf("procedure %s: %s; another with --procedure", name, why)
	}
	p, err := loadProcedure(st.Folder, name)
	if err != nil {
		return nil, "", err
	}
	held := p.Sittings()
	if sitting == "" {
		sitting = held[0]
	}
	if !slices.Contains(held, sitting) {
		return nil, "", usageError{fmt.Errorf("sitting %s: procedure %q has no step there", sitting, p.Name)}
	}
	folder, err := newRunFolder(st.Reports(), o.prop, p)
	if err != nil {
		return nil, "", toolError{what: fmt.Sprintf("site %q", st.Dir), err: err, try: "--site with a folder that can be written"}
	}
	folder.proposed = why
	return folder, sitting, nil
}

func closeIf(folder *runFolder, err error) error {
	if err != nil {
		return errors.Join(err, folder.journal.Close())
	}
	return nil
}

// takeUp says with which sitting a run goes on; "" when it does not and a new run
// is to be made.
func takeUp(folder *runFolder, asked checklist.Sitting, o commissionOptions, changed []string) (checklist.Sitting, error) {
	if h := folder.header(); h != nil && o.procedure != "" && h.Procedure != o.procedure {
		return "", usageError{fmt.Errorf("resume: report %d follows procedure %q, not %q", folder.number, h.Procedure, o.procedure)}
	}
	if len(changed) > 0 {
		folder.expire(changed)
	}
	due := folder.due()
	switch {
	case asked == due && due != "", asked == "" && due != "":
		return due, nil
	case asked == checklist.Site && due == checklist.Bench:
		return "", usageError{fmt.Errorf("sitting site: the bench of report %d is not decided yet, %d steps are open", folder.number, len(folder.open(checklist.Bench)))}
	case asked == checklist.Site && !o.resume && len(changed) == 0:
		return "", nil
	case asked == "":
		return "", usageError{fmt.Errorf("resume: report %d is complete", folder.number)}
	}
	return "", usageError{fmt.Errorf("resume: the %s sitting of report %d is complete", asked, folder.number)}
}

// loadProcedure loads a procedure: the site's own of that name, else a built-in
// one.
func loadProcedure(f plan.Folder, name string) (checklist.Procedure, error) {
	if name != principalOf(name) {
		return checklist.Procedure{}, usageError{fmt.Errorf("procedure %q: want a name, such as new", name)}
	}
	path := filepath.Join(f.Procedures(), name+".toml")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		p, err := checklist.BuiltinProcedure(name)
		if err != nil {
			return p, hintedError{usageError{err}, "--procedure new, or put " + path + " there"}
		}
		return p, nil
	}
	if err != nil {
		return checklist.Procedure{}, toolError{what: fmt.Sprintf("procedure %q", path), err: withoutPath(err)}
	}
	p, err := checklist.ParseProcedure(path, text)
	if err != nil {
		return p, toolError{err: err, try: "the built-in procedure shows every field: it lies as procedure.toml in each run's folder"}
	}
	if p.Name != name {
		return p, toolError{err: fmt.Errorf("procedure %s: field name: %q, want %q as the file is called", path, p.Name, name)}
	}
	return p, nil
}

// itemOf is what the site plans for a prop.
func itemOf(ctx context.Context, st *sitePlan, prop string) (checklist.Item, error) {
	p, err := st.Load(ctx)
	if err != nil {
		return checklist.Item{}, err
	}
	item, err := p.Item(prop)
	if err != nil {
		return item, hintedError{usageError{err}, "propwright plan list"}
	}
	return item, nil
}

// withLimits puts the site's limits into the steps that have parameters of those
// names, and those of a range into each range step, because its parameters may be left
// out.
func withLimits(p checklist.Procedure, limits map[string]float64) checklist.Procedure {
	steps := make([]checklist.Step, len(p.Steps))
	for i, s := range p.Steps {
		own := map[string]any{}
		maps.Copy(own, s.Params)
		for name, v := range limits {
			if _, has := own[name]; has || s.Check == "range" && slices.Contains(plan.RangeLimitNames(), name) {
				own[name] = v
			}
		}
		s.Params = own
		steps[i] = s
	}
	p.Steps = steps
	return p
}
