package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// openOrders reads what the decisions are about and nothing else.
const openOrders = `select count(*), max(s.country), max(o.due_on) from work_order o join site s on s.site_id = o.site_id where o.state = 'open' and o.kind = 'inspection'`

// ladder measures the nightly decisions on notices, in a fleet in which every door has an open inspection and an owner to be told: the nights
// after the first, on which few orders come to another rung.
func (b *bench) ladder(ctx context.Context) ([]line, error) {
	far, err := duedate.ParseDay("2027-12-31")
	if err != nil {
		return nil, err
	}
	night, err := duedate.ParseDay("2026-11-15")
	if err != nil {
		return nil, err
	}
	if _, err := b.admin.Exec(ctx, "truncate work_order cascade"); err != nil {
		return nil, err
	}
	if _, err := b.fleet.OpenDueWorkOrders(ctx, far); err != nil {
		return nil, err
	}
	// The copies of one plan share its day: their orders are spread over 500 days, most of them past due.
	if _, err := b.admin.Exec(ctx, "update work_order set due_on = '2025-09-15'::date + (hashtext(work_order_id::text) & 1023) % 500"); err != nil {
		return nil, err
	}
	owner, _, err := b.fleet.PutParty(ctx, by(), fleet.Party{PartyID: b.fleet.NewID(), Name: "Bench", Email: "owner@example.com"}, 0)
	if err != nil {
		return nil, err
	}
	if _, err := b.admin.Exec(ctx, `insert into site_party (customer_id, site_id, standing_id, party_id, role, from_day, recorded_at, recorded_by)
		select customer_id, site_id, gen_random_uuid(), $1, 'owner', '2020-01-01', now(), $1 from site`, owner.PartyID); err != nil {
		return nil, err
	}
	if _, err := b.admin.Exec(ctx, "vacuum analyze"); err != nil {
		return nil, err
	}
	began := time.Now()
	made, err := b.fleet.QueueNotices(ctx, night)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(os.Stderr, "the first night made %d notices in %.0f s\n", made, time.Since(began).Seconds())
	if _, err := b.admin.Exec(ctx, "vacuum analyze"); err != nil {
		return nil, err
	}
	l := line{What: "the nightly decisions on notices, every door's inspection open", Doors: b.doors, Against: "reading the open orders", Asked: "≤ 10 s at 1,000,000", Unit: "s"}
	for range rounds {
		began := time.Now()
		var n int64
		var country string
		var last time.Time
		if err := b.admin.QueryRow(ctx, openOrders).Scan(&n, &country, &last); err != nil {
			return nil, err
		}
		theirs := time.Since(began).Seconds()
		if n < int64(b.doors) {
			return nil, fmt.Errorf("only %d orders are open", n)
		}
		night = night.AddDays(1)
		began = time.Now()
		made, err := b.fleet.QueueNotices(ctx, night)
		if err != nil {
			return nil, err
		}
		took := time.Since(began).Seconds()
		fmt.Fprintf(os.Stderr, "the night of %s made %d notices in %.2f s\n", night, made, took)
		l.Ours, l.Theirs = append(l.Ours, took), append(l.Theirs, theirs)
	}
	return []line{l}, nil
}
