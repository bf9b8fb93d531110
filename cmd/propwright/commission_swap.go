package main

import (
	"context"
	"fmt"

	"propwright/checklist"
	"propwright/checklist/plan"
)

// itemFor is what the board at the prop is to be judged by; for a swap the spare,
// with the numbers that the prop has.
func itemFor(ctx context.Context, st *sitePlan, o commissionOptions) (checklist.Item, error) {
	if o.procedure != checklist.ProcedureSwap || o.resume {
		if o.board != "" && o.procedure != checklist.ProcedureSwap {
			return checklist.Item{}, usageError{fmt.Errorf("board %q: only a swap takes another board than the one planned", o.board)}
		}
		return itemOf(ctx, st, o.prop)
	}
	p, err := st.Load(ctx)
	if err != nil {
		return checklist.Item{}, err
	}
	item, err := p.SpareItem(o.prop, o.board)
	if err != nil {
		return item, hintedError{usageError{err}, "propwright plan list"}
	}
	return item, nil
}

// swapInPlan has the plan follow a spare that went in and passed: the prop has the
// spare from now on, and the old board is at no prop. The prop's service log has why.
func swapInPlan(ctx context.Context, d deps, st *sitePlan, run *conduct, verdict checklist.Verdict) error {
	item := run.engine.Item
	if item.Replaces == "" || verdict != checklist.Passed {
		return nil
	}
	err := st.store.Change(ctx, func(p *plan.Plan) error {
		if q, _ := p.Prop(item.Prop); q.Board == item.Board.Asset {
			return nil // an issue of the same report before this one did it
		}
		if err := p.Swap(item.Prop, item.Board.Asset); err != nil {
			return err
		}
		symptom := checklist.Answer{Text: "no symptom was told", By: "propwright"}
		for _, e := range run.log.Entries(0) {
			if e.Answer != nil && e.Answer.Question.Key == checklist.SymptomQuestion {
				symptom = *e.Answer
			}
		}
		_, err := p.Log(plan.ServiceEntry{
			Prop: item.Prop, Kind: plan.ServiceSwapped, At: run.clock.Now(), By: symptom.By, Board: item.Replaces, Report: run.folder.number,
			Text: fmt.Sprintf("board %s out, %s in: %s", item.Replaces, item.Board.Asset, symptom.Text),
		})
		return err
	})
	if err != nil {
		return toolError{what: "plan", err: err, try: "propwright plan list"}
	}
	fmt.Fprintf(d.err, "plan: board %s is at %s now, board %s is set aside\n", item.Board.Asset, item.Prop, item.Replaces)
	return nil
}
