package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
)

// A table says how one kind of thing lies in the database.
type table[T any] struct {
	name    string
	key     []string // columns that name a row; the first columns
	columns []string // all columns
	id      func(T) string
	values  func(T) []any // in the order of columns; comparable values
	scan    func(row scanner) (T, error)
}

// scanner is what a row can do.
type scanner interface{ Scan(to ...any) error }

// load reads all rows, sorted by what they are called. The order is made here
// because databases differ in how they sort text.
func (t table[T]) load(ctx context.Context, tx *sql.Tx) (things []T, err error) {
	rows, err := tx.QueryContext(ctx, fmt.Sprintf("SELECT %s FROM %s", strings.Join(t.columns, ", "), t.name))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		thing, err := t.scan(rows)
		if err != nil {
			return nil, fmt.Errorf("table %s: %w", t.name, err)
		}
		things = append(things, thing)
	}
	slices.SortFunc(things, func(a, b T) int { return cmp.Compare(t.id(a), t.id(b)) })
	return things, rows.Err()
}

// A row is a thing as it lies in the database.
type row struct {
	id     string
	values []any
}

// rows are things as rows.
func (t table[T]) rows(things []T) []row {
	rows := make([]row, len(things))
	for i, thing := range things {
		rows[i] = row{t.id(thing), t.values(thing)}
	}
	return rows
}

// drop takes a row out.
func (t table[T]) drop(ctx context.Context, tx *sql.Tx, r row) error {
	_, err := tx.ExecContext(ctx, fmt.Sprintf("DELETE FROM %s WHERE %s = ?", t.name, strings.Join(t.key, " = ? AND ")), r.values[:len(t.key)]...)
	if err != nil {
		return fmt.Errorf("table %s: %w", t.name, err)
	}
	return nil
}

// put puts a row in.
func (t table[T]) put(ctx context.Context, tx *sql.Tx, r row) error {
	marks := strings.TrimSuffix(strings.Repeat("?, ", len(t.columns)), ", ")
	_, err := tx.ExecContext(ctx, fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s)", t.name, strings.Join(t.columns, ", "), marks), r.values...)
	if err != nil {
		return fmt.Errorf("table %s: %w", t.name, err)
	}
	return nil
}

// without returns the rows that have no equal in others.
func without(rows, others []row) []row {
	values := map[string][]any{}
	for _, o := range others {
		values[o.id] = o.values
	}
	var rest []row
	for _, r := range rows {
		if other, ok := values[r.id]; !ok || !slices.Equal(r.values, other) {
			rest = append(rest, r)
		}
	}
	return rest
}

// orNull is NULL for "".
func orNull(text string) any {
	if text == "" {
		return nil
	}
	return text
}
