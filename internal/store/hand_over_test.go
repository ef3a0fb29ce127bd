package store_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

// With a row in every table: all that hangs below a site goes to the new customer, and of what was written nothing
// changes but whose it is.
func TestASiteThatChangesHandsIsTheNewCustomersWithAllItsHistory(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	site := idOf("site 1 1")
	tablesBelow := lines(t, db, `select c.relname from pg_class c where `+ours+` and 2 = (select count(*) from pg_attribute a where a.attrelid = c.oid and a.attname in ('customer_id', 'site_id'))`)
	written, elsewhere := belowSite(t, db, tablesBelow, "=", site), belowSite(t, db, tablesBelow, "<>", site)
	log := lines(t, db, "select x::text from record_log x")

	if now := handOver(t, s, site); now != idOf("customer 2") {
		t.Fatalf("the site is now %s's", now)
	}

	if now := belowSite(t, db, tablesBelow, "=", site); !slices.Equal(now, written) {
		wantSameLines(t, strings.Join(written, "\n"), strings.Join(now, "\n"))
	}
	if now := belowSite(t, db, tablesBelow, "<>", site); !slices.Equal(now, elsewhere) {
		wantSameLines(t, strings.Join(elsewhere, "\n"), strings.Join(now, "\n"))
	}
	if now := lines(t, db, "select x::text from record_log x"); !slices.Equal(now, log) { // also whose it was when it was sealed
		wantSameLines(t, strings.Join(log, "\n"), strings.Join(now, "\n"))
	}
	for _, table := range tablesBelow {
		if seenIn("site_id")[table] == "" {
			continue // the company's own
		}
		seen := func(by []uuid.UUID) (of, all int) {
			if err := s.InRawTx(t.Context(), agentOf(by...), func(tx pgx.Tx) error {
				return tx.QueryRow(t.Context(), "select count(*) filter (where site_id = $1), count(*) from "+table, site).Scan(&of, &all)
			}); err != nil {
				t.Fatal(err)
			}
			return of, all
		}
		there := len(lines(t, db, "select 'row' from "+table+" where site_id = $1", site))
		switch table {
		case "finding":
			there-- // the computed one
		case "record_log":
			there-- // that of a report: who may see the report reads it there
		}
		if of, all := seen([]uuid.UUID{idOf("customer 1")}); of != 0 || all == 0 {
			t.Errorf("%s: the old customer sees %d rows of the site and %d in all, want none of it and the rest", table, of, all)
		}
		if of, _ := seen([]uuid.UUID{idOf("customer 2")}); of != there || of == 0 {
			t.Errorf("%s: the new customer sees %d rows of the site, want %d", table, of, there)
		}
	}
	var doors int
	if err := s.InRawTx(t.Context(), tenantOf(site), func(tx pgx.Tx) error { return tx.QueryRow(t.Context(), "select count(*) from door").Scan(&doors) }); err != nil || doors != 1 {
		t.Errorf("the site's tenant sees %d doors (%v), want 1 as before", doors, err)
	}
	handOver(t, s, site) // and back
	if got := lines(t, db, "select 'door' from door where customer_id = $1 and site_id = $2", idOf("customer 1"), site); len(got) != 1 {
		t.Errorf("%d doors came back, want 1", len(got))
	}
}

// belowSite are the rows of one site, or of all others, without their customer and without the site's own version.
func belowSite(t testing.TB, db storetest.DB, tables []string, is string, site uuid.UUID) (rows []string) {
	t.Helper()
	for _, table := range tables {
		rows = append(rows, lines(t, db, "select '"+table+" ' || (to_jsonb(x) - 'customer_id' - case when $2 = 'site' then 'version' else '' end)::text from "+table+" x where site_id "+is+" $1", site, table)...)
	}
	if len(rows) < len(tables) {
		t.Fatalf("only %d rows of %d tables", len(rows), len(tables))
	}
	return rows
}
