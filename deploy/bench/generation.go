package main

import (
	"context"
	"fmt"
	"time"

	"lintel.example/lintel/internal/duedate"
)

// bare makes the same orders and nothing else: no pages, no ids that repeat, no row-level security.
const bare = `insert into work_order (customer_id, site_id, door_id, work_order_id, kind, plan_id, period, due_on, state, recorded_at)
select customer_id, site_id, door_id, gen_random_uuid(), 'inspection', plan_id, next_due, next_due, 'open', now()
from inspection_plan where active and next_due - lead_days <= $1 on conflict do nothing`

// generation measures the nightly run on a fleet in which every door is due.
func (b *bench) generation(ctx context.Context) ([]line, error) {
	day, err := duedate.ParseDay("2027-12-31")
	if err != nil {
		return nil, err
	}
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
		if err == nil && made < int64(b.doors) {
			err = fmt.Errorf("only %d orders were made for %d doors", made, b.doors)
		}
		return took, err
	}
	l := line{What: "the nightly run, every door due", Doors: b.doors, Against: "a bare INSERT … SELECT", Asked: "≤ 1.3", Unit: "s"}
	for range rounds {
		theirs, err := timed(func() (int64, error) {
			done, err := b.admin.Exec(ctx, bare, day.String())
			return done.RowsAffected(), err
		})
		if err != nil {
			return nil, err
		}
		ours, err := timed(func() (int64, error) { return b.fleet.OpenDueWorkOrders(ctx, day) })
		if err != nil {
			return nil, err
		}
		l.Ours, l.Theirs = append(l.Ours, ours), append(l.Theirs, theirs)
	}
	return []line{l}, nil
}
