package store

import (
	"context"
	"io/fs"

	"github.com/golang-migrate/migrate/v4"
)

// MigrateFiles is Migrate with files of the test's own.
func MigrateFiles(ctx context.Context, adminURL, prefix string, files fs.FS) error {
	return newMigrator(adminURL, prefix, files).run(ctx, up, (*migrate.Migrate).Up)
}
