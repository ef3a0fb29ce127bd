package main

import (
	"context"
	"fmt"
	"slices"
)

// multiply copies the rows of the one door until there are enough: a site for every hundred doors, a customer for
// every thousand. Rows are copied whole, with other ids, so that a new column needs nothing here. A fleet of plans alone has doors without anything
// in them.
func (b *bench) multiply(ctx context.Context, plansAlone bool) error {
	id := func(kind int, of string) string {
		return fmt.Sprintf("'01900000-%04d-7000-8000-' || lpad(to_hex(%s), 12, '0')", kind, of)
	}
	site := "'customer_id', " + id(1, "i / 1000") + ", 'site_id', " + id(2, "i / 100")
	door := site + ", 'door_id', " + id(3, "i")
	version := door + ", 'version_id', " + id(4, "i")
	sensor := door + ", 'component_id', " + id(5, "i")
	revision := sensor + ", 'revision_id', " + id(6, "i")
	for _, c := range []struct {
		table, every, other string
	}{
		{"customer", "1000", "'customer_id', " + id(1, "i / 1000") + ", 'name', 'Customer ' || i"},
		{"site", "100", site + ", 'name', 'Site ' || i"},
		{"door", "1", door + ", 'tag', lpad((50000000 + i)::text, 8, '0'), 'name', 'Door ' || i"},
		{"door_version", "1", version},
		{"door_leaf", "1", version},
		{"component", "1", sensor},
		{"component_version", "1", sensor + ", 'version_id', " + id(7, "i")},
		{"revision", "1", revision},
		{"extent", "1", revision + ", 'door_version_id', " + id(4, "i")},
		{"coverage", "1", door},
		{"inspection_plan", "1", door + ", 'plan_id', " + id(8, "i") + ", 'next_due', '2026-01-01'::date + i % 365, 'due_by', null, 'orders_from', '2026-01-01'::date + i % 365 - 30"},
	} {
		if plansAlone && !slices.Contains([]string{"customer", "site", "door", "inspection_plan"}, c.table) {
			continue
		}
		statement := fmt.Sprintf(`insert into %[1]s select copy.* from %[1]s as original cross join generate_series(0, $1 - 1, %[2]s) as i
			cross join lateral jsonb_populate_record(original, jsonb_build_object(%[3]s)) as copy`, c.table, c.every, c.other)
		if _, err := b.admin.Exec(ctx, statement, b.doors); err != nil {
			return fmt.Errorf("copies of %s: %w", c.table, err)
		}
	}
	_, err := b.admin.Exec(ctx, "vacuum analyze")
	return err
}
