package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"propwright/checklist"
	"propwright/checklist/diagnose"
	"propwright/checklist/plan"
	"propwright/parsers"
)

// A planned prop is what a diagnosis holds the console against.
type plannedProp struct {
	item *checklist.Item // nil where no plan is at hand
	said []parsers.Event // what the board said of its settings and its controller
}

// mostSaid bounds what is kept of a long capture: a board says it at each start.
const mostSaid = 4096

// hear keeps what there is to compare.
func (p *plannedProp) hear(e parsers.Event) {
	switch e.Kind {
	case parsers.KindSetting, parsers.KindAddress, parsers.KindControllerUp, parsers.KindControllerDown, parsers.KindCoilWritten:
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
	if _, err := plan.OpenFolder(c.o.site); errors.Is(err, plan.ErrNoSite) {
		if c.o.siteGiven {
			c.notes = append(c.notes, fmt.Sprintf("There is no site in %q; nothing is held against a plan.", c.o.site))
		}
		return nil
	}
	st, err := openPlan(ctx, d, c.o.site)
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
	return nil
}

// compare holds what was heard against the plan, and says what a board like this has no
// use for.
func (c *diagnosis) compare() {
	facts := &c.situation.Facts
	if c.plan.item != nil {
		*facts = append(*facts, diagnose.FactPlanned)
		unlike, untold := c.plan.item.Against(c.plan.said)
		evidence := c.k.FailedStep("settings", unlike)
		for i := range evidence {
			evidence[i].From, evidence[i].Text = diagnose.FromConsole, strings.TrimPrefix(evidence[i].Text, "step settings: ")
		}
		c.read = append(c.read, evidence)
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
