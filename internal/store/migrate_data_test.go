package store_test

import (
	"io/fs"
	"strconv"
	"strings"
	"testing"

	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/migrations"
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

// What files before the purposes of plans cannot say ends when one goes back to them, and nothing else does.
func TestPlansForOtherPurposesEndWhereOnlyInspectionsAreKnown(t *testing.T) {
	t.Parallel()
	in := newInstallation(t)
	in.setup(t, "secret")
	in.migrate(t)
	in.fill(t)
	if _, err := in.connect(t, in.adminURL).Exec(t.Context(), `with p as (
			insert into inspection_plan (customer_id, site_id, door_id, plan_id, purpose, interval_months, regime, tolerance_days, lead_days, anchor_on, next_due, beside_from, active, version, recorded_at, recorded_by)
			select customer_id, site_id, door_id, gen_random_uuid(), 'service', 6, 'anniversary', 30, 10, '2026-04-10', '2026-04-10', '2026-03-11', true, 1, recorded_at, recorded_by from inspection_plan
			returning *)
		insert into work_order (customer_id, site_id, door_id, work_order_id, kind, plan_id, period, due_on, state, recorded_at)
		select customer_id, site_id, door_id, gen_random_uuid(), 'service', plan_id, next_due, next_due, 'open', recorded_at from p`); err != nil {
		t.Fatal(err)
	}
	files, err := fs.Glob(migrations.Files, "*_plan_purposes.up.sql")
	if err != nil || len(files) != 1 {
		t.Fatal(files, err)
	}
	number, err := strconv.Atoi(files[0][:6])
	if err != nil {
		t.Fatal(err)
	}
	in.migrateDown(t, number-1)
	wantSameLines(t, "inspection f 2026-04-10 superseded 4\ninspection t 2026-03-10 open 4", strings.Join(in.column(t, in.adminURL, `select concat_ws(' ', o.kind, p.active, o.period, o.state, count(*))
		from work_order o join inspection_plan p on p.plan_id = o.plan_id group by o.kind, p.active, o.period, o.state order by 1`), "\n"))
	in.migrate(t)
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
