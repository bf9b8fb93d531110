package store

import (
	"context"
	"database/sql"
	"errors"

	"propwright/checklist/plan"
)

// Load returns the plan as it is now, each kind of thing sorted by name.
func (s *SQLite) Load(ctx context.Context) (plan.Plan, error) {
	var p plan.Plan
	err := s.inTx(ctx, &sql.TxOptions{ReadOnly: true}, func(tx *sql.Tx) (err error) {
		p, err = s.load(ctx, tx)
		return err
	})
	if err != nil {
		return plan.Plan{}, err
	}
	return p, nil
}

// Change loads the plan, lets change alter it, checks the outcome and keeps it,
// all in one transaction.
func (s *SQLite) Change(ctx context.Context, change func(*plan.Plan) error) error {
	return s.inTx(ctx, nil, func(tx *sql.Tx) error {
		before, err := s.load(ctx, tx)
		if err != nil {
			return err
		}
		after, err := s.load(ctx, tx) // its own memory: change may do as it likes with it
		if err != nil {
			return err
		}
		if err := change(&after); err != nil {
			return err
		}
		if err := errors.Join(after.Check(), before.Keeps(&after)); err != nil {
			return err
		}
		if err := save(ctx, tx, before, after); err != nil {
			return storeError(s.path, err)
		}
		return nil
	})
}

func (s *SQLite) load(ctx context.Context, tx *sql.Tx) (p plan.Plan, err error) {
	load := func(read func() error) {
		if err == nil {
			err = read()
		}
	}
	load(func() (err error) { p.Controllers, err = controllers().load(ctx, tx); return })
	load(func() (err error) { p.Boards, err = boards().load(ctx, tx); return })
	load(func() (err error) { p.Readers, err = readers(plan.Plan{}).load(ctx, tx); return })
	load(func() (err error) { p.Props, err = props().load(ctx, tx); return })
	load(func() (err error) { p.Tags, err = tags().load(ctx, tx); return })
	load(func() (err error) { p.Service, err = service().load(ctx, tx); return })
	if err != nil {
		return plan.Plan{}, storeError(s.path, err)
	}
	return p, nil
}

// save writes the difference. All that goes is taken out before anything is put
// in, so that two things may swap a number; references are checked at the end.
func save(ctx context.Context, tx *sql.Tx, before, after plan.Plan) error {
	changes := []change{
		changeOf(controllers(), controllers(), before.Controllers, after.Controllers),
		changeOf(boards(), boards(), before.Boards, after.Boards),
		changeOf(readers(before), readers(after), before.Readers, after.Readers),
		changeOf(props(), props(), before.Props, after.Props),
		changeOf(tags(), tags(), before.Tags, after.Tags),
		changeOf(service(), service(), before.Service, after.Service),
	}
	for _, c := range changes {
		for _, r := range c.gone {
			if err := c.drop(ctx, tx, r); err != nil {
				return err
			}
		}
	}
	for _, c := range changes {
		for _, r := range c.come {
			if err := c.put(ctx, tx, r); err != nil {
				return err
			}
		}
	}
	return nil
}

// A change is what a table has too much and too little.
type change struct {
	gone, come []row
	drop, put  func(context.Context, *sql.Tx, row) error
}

func changeOf[T any](was, is table[T], before, after []T) change {
	old, now := was.rows(before), is.rows(after)
	return change{gone: without(old, now), come: without(now, old), drop: is.drop, put: is.put}
}
