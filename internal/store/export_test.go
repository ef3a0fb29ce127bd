package store

import (
	"context"
	"io/fs"

	"github.com/golang-migrate/migrate/v4"

	"lintel.example/lintel/internal/fault"
)

// MigrateFiles is Migrate with files of the test's own.
func MigrateFiles(ctx context.Context, adminURL, prefix string, files fs.FS) error {
	return newMigrator(adminURL, prefix, files).run(ctx, up, (*migrate.Migrate).Up)
}

// FaultOf is what PostgreSQL's refusals are told as.
func FaultOf() map[string]*fault.Error { return faultOf() }
