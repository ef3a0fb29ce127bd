package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"lintel.example/lintel/internal/duedate"
)

// bare makes the same orders and nothing else: no pages, no ids that repeat, no row-level security.
const bare = `insert into work_order (customer_id, site_id, door_id, work_order_id, kind, plan_id, period, due_on, state, recorded_at)
select customer_id, site_id, door_id, gen_random_uuid(), 'inspection', plan_id, next_due, next_due, 'open', now()
from inspection_plan where active and orders_from <= $1 on conflict do nothing`

// generation measures the nightly run on a fleet in which every door is due, and where nine in a hundred are, as when a month's orders are made at once.
func (b *bench) generation(ctx context.Context) (lines []line, err error) {
	for _, c := range []struct{ what, day, asked string }{{"the nightly run, every door due", "2027-12-31", "≤ 1.3"}, {"the nightly run, nine doors in a hundred due", "2026-01-03", "≤ 1.2"}} {
		l, err := b.generationOn(ctx, c.day)
		if err != nil {
			return nil, err
		}
		l.What, l.Asked = c.what, c.asked
		lines = append(lines, l)
	}
	return lines, nil
}

// generationOn measures the run of one day, from an empty table of orders each time.
func (b *bench) generationOn(ctx context.Context, text string) (l line, err error) {
	l = line{Doors: b.doors, Against: "a bare INSERT … SELECT", Unit: "s"}
	day, err := duedate.ParseDay(text)
	if err != nil {
		return l, err
	}
	var due int64
	if err := b.admin.QueryRow(ctx, "select count(*) from inspection_plan where active and orders_from <= $1", text).Scan(&due); err != nil {
		return l, err
	}
	fmt.Fprintf(os.Stderr, "%d of %d doors are due\n", due, b.doors)
	empty := func() error {
		_, err := b.admin.Exec(ctx, "truncate work_order cascade")
		if err == nil {
			_, err = b.admin.Exec(ctx, "checkpoint")
		}
		return err
	}
	timed := func(make func() (int64, error)) (float64, error) {
		if err := empty(); err != nil {
			return 0, err
		}
		began := time.Now()
		made, err := make()
		took := time.Since(began).Seconds()
		if err == nil && made != due {
			err = fmt.Errorf("%d orders were made for %d doors", made, due)
		}
		return took, err
	}
	for range rounds {
		theirs, err := timed(func() (int64, error) {
			done, err := b.admin.Exec(ctx, bare, text)
			return done.RowsAffected(), err
		})
		if err != nil {
			return l, err
		}
		ours, err := timed(func() (int64, error) { return b.fleet.OpenDueWorkOrders(ctx, day) })
		if err != nil {
			return l, err
		}
		l.Ours, l.Theirs = append(l.Ours, ours), append(l.Theirs, theirs)
	}
	return l, nil
}
