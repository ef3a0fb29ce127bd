package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type ladderRow struct {
	LadderID    uuid.UUID
	CustomerID  *uuid.UUID
	EffectiveOn time.Time
	Document    fleet.Ladder // jsonb
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
}

func (r ladderRow) ladder() fleet.Ladder {
	l := r.Document
	l.LadderID, l.CustomerID, l.EffectiveOn, l.RecordedAt, l.RecordedBy = r.LadderID, orNil(r.CustomerID), day(&r.EffectiveOn), r.RecordedAt, r.RecordedBy
	return l
}

const sqlLaddersOn = `-- ladders_on
select distinct on (customer_id) ladder_id, customer_id, effective_on, document, recorded_at, recorded_by from ladder
where effective_on <= @day and (customer_id is null or @customers::uuid[] is null or customer_id = any (@customers))
order by customer_id, effective_on desc, recorded_at desc, ladder_id desc`

// LaddersOn gives the ladders in force on a day, the company's and those of customers.
func (t *Tx) LaddersOn(ctx context.Context, on duedate.Day, customers []uuid.UUID) ([]fleet.Ladder, error) {
	rows, err := query[ladderRow](ctx, t, "ladders_on", sqlLaddersOn, pgx.StrictNamedArgs{"day": date(on), "customers": customers})
	return each(rows, ladderRow.ladder), err
}

const sqlLadderByID = `-- ladder_by_id
select ladder_id, customer_id, effective_on, document, recorded_at, recorded_by from ladder where ladder_id = @ladder_id`

// LadderByID gives one ladder.
func (t *Tx) LadderByID(ctx context.Context, id uuid.UUID) (fleet.Ladder, error) {
	r, err := queryOne[ladderRow](ctx, t, "ladder_by_id", sqlLadderByID, pgx.StrictNamedArgs{"ladder_id": id}, "ladder_not_found")
	return r.ladder(), err
}

const sqlLadders = `-- ladders
select ladder_id, customer_id, effective_on, document, recorded_at, recorded_by from ladder order by effective_on desc, recorded_at desc, ladder_id desc limit 1000`

// Ladders gives all, the newest first.
func (t *Tx) Ladders(ctx context.Context) ([]fleet.Ladder, error) {
	rows, err := query[ladderRow](ctx, t, "ladders", sqlLadders, nil)
	return each(rows, ladderRow.ladder), err
}

const sqlInsertLadder = `-- insert_ladder
insert into ladder (ladder_id, customer_id, effective_on, document, recorded_at, recorded_by)
values (@ladder_id, @customer_id, @effective_on, @document, @recorded_at, @recorded_by) on conflict do nothing`

// InsertLadder adds a ladder, or answers false when the id is taken.
func (t *Tx) InsertLadder(ctx context.Context, l fleet.Ladder) (bool, error) {
	n, err := exec(ctx, t, "insert_ladder", sqlInsertLadder, pgx.StrictNamedArgs{"ladder_id": l.LadderID, "customer_id": optional(l.CustomerID), "effective_on": date(l.EffectiveOn), "document": l,
		"recorded_at": l.RecordedAt, "recorded_by": l.RecordedBy})
	return n == 1, err
}
