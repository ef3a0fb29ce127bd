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
	EffectiveOn time.Time
	Document    fleet.Ladder // jsonb
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
}

func (r ladderRow) ladder() fleet.Ladder {
	l := r.Document
	l.LadderID, l.EffectiveOn, l.RecordedAt, l.RecordedBy = r.LadderID, day(&r.EffectiveOn), r.RecordedAt, r.RecordedBy
	return l
}

const sqlLadderOn = `-- ladder_on
select ladder_id, effective_on, document, recorded_at, recorded_by from ladder where effective_on <= @day
order by effective_on desc, recorded_at desc, ladder_id desc limit 1`

// LadderOn gives the ladder in force on a day.
func (t *Tx) LadderOn(ctx context.Context, on duedate.Day) (fleet.Ladder, bool, error) {
	rows, err := query[ladderRow](ctx, t, "ladder_on", sqlLadderOn, pgx.StrictNamedArgs{"day": date(on)})
	if err != nil || len(rows) == 0 {
		return fleet.Ladder{}, false, err
	}
	return rows[0].ladder(), true, nil
}

const sqlLadderByID = `-- ladder_by_id
select ladder_id, effective_on, document, recorded_at, recorded_by from ladder where ladder_id = @ladder_id`

// LadderByID gives one ladder.
func (t *Tx) LadderByID(ctx context.Context, id uuid.UUID) (fleet.Ladder, error) {
	r, err := queryOne[ladderRow](ctx, t, "ladder_by_id", sqlLadderByID, pgx.StrictNamedArgs{"ladder_id": id}, "ladder_not_found")
	return r.ladder(), err
}

const sqlLadders = `-- ladders
select ladder_id, effective_on, document, recorded_at, recorded_by from ladder order by effective_on desc, recorded_at desc, ladder_id desc limit 1000`

// Ladders gives all, the newest first.
func (t *Tx) Ladders(ctx context.Context) ([]fleet.Ladder, error) {
	rows, err := query[ladderRow](ctx, t, "ladders", sqlLadders, nil)
	return each(rows, ladderRow.ladder), err
}

const sqlInsertLadder = `-- insert_ladder
insert into ladder (ladder_id, effective_on, document, recorded_at, recorded_by)
values (@ladder_id, @effective_on, @document, @recorded_at, @recorded_by) on conflict do nothing`

// InsertLadder adds a ladder, or answers false when the id is taken.
func (t *Tx) InsertLadder(ctx context.Context, l fleet.Ladder) (bool, error) {
	n, err := exec(ctx, t, "insert_ladder", sqlInsertLadder, pgx.StrictNamedArgs{"ladder_id": l.LadderID, "effective_on": date(l.EffectiveOn), "document": l,
		"recorded_at": l.RecordedAt, "recorded_by": l.RecordedBy})
	return n == 1, err
}
