package store_test

import (
	"os"
	"testing"

	"lintel.example/lintel/internal/store/storetest"
)

func TestMain(m *testing.M) {
	if os.Getenv(killedMigratorEnv) != "" {
		playKilledMigrator() // see migrate_test.go
		return
	}
	if os.Getenv(killedWriterEnv) != "" {
		playKilledWriter() // see photodir_test.go
		return
	}
	os.Exit(storetest.Main(m))
}
