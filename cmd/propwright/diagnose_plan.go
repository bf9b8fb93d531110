package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/checklist/diagnose"
	"propwright/checklist/plan"
	"propwright/checklist/report"
	"propwright/parsers"
)

// A planned prop is what a diagnosis holds the console against.
type plannedProp struct {
	item *checklist.Item // nil where no plan is at hand
	good *report.Model   // the newest report in which this board passed here; nil for none
	said []parsers.Event // what the board said of its settings and its controller
}

// mostSaid bounds what is kept of a long capture: a board says it at each start.
const mostSaid = 4096

// hear keeps what there is to compare.
func (p *plannedProp) hear(e parsers.Event) {
	switch e.Kind {
	case parsers.KindReaderVersion, parsers.KindSetting, parsers.KindAddress, parsers.KindControllerUp, parsers.KindControllerDown, parsers.KindCoilWritten:
		if len(p.said) == mostSaid {
			p.said = slices.Delete(p.said, 0, mostSaid/2)
		}
		p.said = append(p.said, e)
	}
}

// dials reports whether the board calls its controller.
func (p *plannedProp) dials() bool {
	return p.item != nil && p.item.Controller.Address != "" || slices.ContainsFunc(p.said, func(e parsers.Event) bool {
		return e.Kind == parsers.KindCoilWritten
	})
}

// readPlan looks the prop up in its site. No site is none; a prop that it does not know
// is said.
func (c *diagnosis) readPlan(ctx context.Context, d deps) error {
	if c.o.prop == "" {
		return nil
	}
	st, err := openPlan(ctx, d, c.o.site)
	if errors.Is(err, plan.ErrNoSite) {
		if c.o.siteGiven {
			c.notes = append(c.notes, fmt.Sprintf("There is no site in %q; nothing is held against a plan.", c.o.site))
		}
		return nil
	}
	if err != nil {
		return err
	}
	defer st.Close()
	p, err := st.Load(ctx)
	if err != nil {
		return toolError{what: "plan", err: err}
	}
	item, err := p.Item(c.o.prop)
	if err != nil {
		c.notes = append(c.notes, fmt.Sprintf("Nothing is held against the plan: %v.", err))
		return nil
	}
	c.plan.item = &item
	c.plan.good, err = lastGood(filepath.Join(c.o.site, "reports"), item)
	return err
}

// lastGood is the newest report in which the prop's board passed here, nil for none.
func lastGood(reports string, item checklist.Item) (*report.Model, error) {
	runs, err := priorRuns(reports, item.Prop, 1<<31-1)
	if err != nil {
		return nil, toolError{what: "reports", err: err}
	}
	for _, r := range slices.Backward(runs) {
		if r.End != checklist.EndPassed {
			continue
		}
		if m, ok := readSigned(reports, item.Prop, r.Number); ok && m.Board.Asset == item.Board.Asset {
			return &m, nil
		}
	}
	return nil, nil
}

// sinceGood says what the last good report speaks for, and what the chip said then.
func (c *diagnosis) sinceGood() {
	m := c.plan.good
	if m == nil {
		return
	}
	name := fmt.Sprintf("report %d of %s", m.Number, m.Issued.Format("2 January 2006"))
	if e, ok := c.k.Measured("worked-before=yes", name+" passed this board here"); ok {
		e.From = diagnose.FromReport
		c.read = append(c.read, []diagnose.Evidence{e})
	}
	then, now := versionIn(m), ""
	for _, e := range c.plan.said {
		if e.Kind == parsers.KindReaderVersion {
			now = e.Field("version")
		}
	}
	if then != "" && now != "" && !strings.EqualFold(then, now) {
		c.notes = append(c.notes, fmt.Sprintf("The reader chip said version %s in %s and says %s now.", then, name, now))
	}
}

// versionIn is the chip version that a report's chip step found, "" for none.
func versionIn(m *report.Model) string {
	for _, s := range m.Steps {
		for _, f := range s.Findings {
			if version, ok := strings.CutPrefix(f.Value.Text, "version "); ok && f.What == "chip version" {
				version, _, _ = strings.Cut(version, ",")
				return version
			}
		}
	}
	return ""
}

// compare holds what was heard against the plan, and says what a board like this has no
// use for.
func (c *diagnosis) compare() {
	facts := &c.situation.Facts
	if c.plan.item != nil {
		*facts = append(*facts, diagnose.FactPlanned)
		c.sinceGood()
		unlike, alike, untold := c.plan.item.Against(c.plan.said)
		evidence := c.k.FailedStep("settings", unlike)
		for i := range evidence {
			evidence[i].From, evidence[i].Text = diagnose.FromConsole, strings.TrimPrefix(evidence[i].Text, "step settings: ")
		}
		c.read = append(c.read, evidence)
		if len(unlike) == 0 && slices.Contains(alike, parsers.SettingCoil) {
			if e, ok := c.k.Measured("built-with=as-planned", join(alike)); ok {
				e.From = diagnose.FromConsole
				c.read = append(c.read, []diagnose.Evidence{e})
			}
		}
		for _, f := range unlike {
			c.notes = append(c.notes, f.Note)
		}
		if len(untold) > 0 {
			c.notes = append(c.notes, fmt.Sprintf("The board does not print its %s, so that is not held against the plan; propwright link %s sees what it does.", join(untold), c.o.prop))
		}
	}
	if c.plan.dials() {
		*facts = append(*facts, diagnose.FactDials)
	}
	if c.bench != nil && c.text != "" {
		*facts = append(*facts, diagnose.FactConsole)
	}
}
