package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type historyRow struct {
	Of          string `db:"of_what"`
	SubjectID   uuid.UUID
	Kind        string
	EffectiveAt time.Time
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
	Reason      string
}

func (r historyRow) line() fleet.HistoryLine { return fleet.HistoryLine(r) }

const sqlHistoryOfDoor = `-- history_of_door
select of_what, subject_id, kind, effective_at, recorded_at, recorded_by, reason from (
  select 'door' as of_what, door_id as subject_id, kind, effective_at, recorded_at, recorded_by, reason, version_id as id
    from door_version where door_id = @door_id
  union all
  select 'component', component_id, state, effective_at, recorded_at, recorded_by, reason, version_id from component_version
    where component_id in (select component_id from component where door_id = @door_id)
  union all
  select 'settings', component_id, standing, effective_at, recorded_at, recorded_by, reason, revision_id from revision where door_id = @door_id) h
where effective_at <= @effective and recorded_at <= @recorded
order by effective_at desc, recorded_at desc, id desc limit @limit`

// HistoryOfDoor lists what was said of a door, its components and their settings, the newest first.
func (t *Tx) HistoryOfDoor(ctx context.Context, doorID uuid.UUID, asOf fleet.AsOf, limit int) ([]fleet.HistoryLine, error) {
	rows, err := query[historyRow](ctx, t, "history_of_door", sqlHistoryOfDoor,
		pgx.StrictNamedArgs{"door_id": doorID, "effective": bound(asOf.Effective), "recorded": bound(asOf.Recorded), "limit": limit})
	return each(rows, historyRow.line), err
}
