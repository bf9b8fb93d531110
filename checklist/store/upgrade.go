package store

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
)

//go:embed upgrade_*.sql
var upgrades embed.FS

// upgrade brings a file of an earlier schema up to this program's, a version at a
// time, each whole or not at all.
func (s *SQLite) upgrade(ctx context.Context, version int) error {
	for version++; version <= schemaVersion; version++ {
		text, err := upgrades.ReadFile(fmt.Sprintf("upgrade_%d.sql", version))
		if err != nil {
			return storeError(s.path, fmt.Errorf("schema %d: %w", version, err))
		}
		err = s.inTx(ctx, nil, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, string(text)); err != nil {
				return storeError(s.path, err)
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}
