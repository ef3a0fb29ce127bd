package store_test

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/store"
)

// Going down and up again must work on a database that is in use, not on an empty one alone.
func TestMigrationsGoDownAndUpWithDataInEveryTable(t *testing.T) {
	t.Parallel()
	in := newInstallation(t)
	in.setup(t, "secret")
	in.migrate(t)
	in.fill(t)
	all := in.content(t)
	in.migrateDown(t, lastOfTables+1)
	walled := in.content(t)
	in.migrateDown(t, lastOfTables)
	wantSameLines(t, walled, in.content(t))
	in.migrate(t)
	in.migrateDown(t, lastOfTables+1)
	wantSameLines(t, walled, in.content(t)) // what later files made went with them, and nothing else
	in.migrate(t)
	schema := dump(t, in.adminURL)
	for v := store.LatestVersion() - 1; v >= lastOfRiver; v-- {
		in.migrateDown(t, v)
		in.wantVersion(t, v, "run migrate")
	}
	in.migrate(t)
	wantSameLines(t, schema, dump(t, in.adminURL))
	in.fill(t)
	wantSameLines(t, all, in.content(t))
}

const (
	lastOfRiver  = 7  // the files up to here are copies of River's
	lastOfTables = 13 // the next one raises the walls
)

func (in installation) fill(t *testing.T) {
	t.Helper()
	if _, err := in.connect(t, in.adminURL).Exec(t.Context(), world); err != nil {
		t.Fatal(err)
	}
}

// content is every row of every table that is there, one a line.
func (in installation) content(t *testing.T) string {
	t.Helper()
	var all []string
	for _, table := range in.column(t, in.adminURL, `select c.relname from pg_class c where `+ours+` order by 1`) {
		all = append(all, in.column(t, in.adminURL, `select '`+table+` ' || (to_jsonb(x) - 'seq')::text from `+table+` x order by 1`)...)
	}
	if len(all) < 100 {
		t.Fatalf("only %d rows", len(all))
	}
	return strings.Join(all, "\n")
}
