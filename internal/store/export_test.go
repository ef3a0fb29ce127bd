package store

import (
	"context"
	"io/fs"

	"github.com/golang-migrate/migrate/v4"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// MigrateFiles is Migrate with files of the test's own.
func MigrateFiles(ctx context.Context, adminURL, prefix string, files fs.FS) error {
	return newMigrator(adminURL, prefix, files).run(ctx, up, (*migrate.Migrate).Up)
}

// FaultOf is what PostgreSQL's refusals are told as.
func FaultOf() map[string]*fault.Error { return faultOf() }

// InRawTx is InTx with the driver's own transaction, for statements that the program does not have.
func (s *Store) InRawTx(ctx context.Context, by identity.Actor, f func(pgx.Tx) error) error {
	return s.inTx(ctx, pgx.TxOptions{}, scopeOf(by), func(_ context.Context, tx *Tx) error { return f(tx.tx) })
}
