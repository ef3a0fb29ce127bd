package store_test

import (
	"crypto/md5"
	_ "embed"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/store/storetest"
)

//go:embed testdata/world.sql
var world string

// newWorld is a database with two customers of two sites each, and at every site at least one row in every table.
func newWorld(t testing.TB) storetest.DB {
	t.Helper()
	db := storetest.New(t)
	if _, err := db.Admin.Exec(t.Context(), world); err != nil {
		t.Fatal(err)
	}
	return db
}

// idOf is the id of a row of the world, such as "door 1 2".
func idOf(what string) uuid.UUID { return md5.Sum([]byte(what)) }

func TestTheWorldHasARowInEveryTable(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	for _, table := range tables(t, db) {
		if n := len(lines(t, db, "select 'row' from "+table)); n == 0 {
			t.Errorf("%s is empty: testdata/world.sql does not know it", table)
		}
	}
}

// tables names every table but River's and the ledger of migrations.
func tables(t testing.TB, db storetest.DB) []string {
	t.Helper()
	return lines(t, db, `select c.relname from pg_class c where `+ours)
}
