package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type watchRow struct {
	WatchID     uuid.UUID
	PersonID    uuid.UUID
	VisitID     *uuid.UUID
	Place       string
	Note        string
	BackBy      time.Time
	FirstBackBy time.Time
	StartedAt   time.Time
	StartedBy   uuid.UUID
	EndedAt     *time.Time
	TakenAt     *time.Time
	TakenBy     *uuid.UUID
	TakenNote   string
}

func (r watchRow) watch() fleet.Watch {
	return fleet.Watch{WatchID: r.WatchID, PersonID: r.PersonID, VisitID: orNil(r.VisitID), Place: r.Place, Note: r.Note, BackBy: r.BackBy, FirstBy: r.FirstBackBy,
		StartedAt: r.StartedAt, StartedBy: r.StartedBy, EndedAt: r.EndedAt, TakenAt: r.TakenAt, TakenBy: orNil(r.TakenBy), TakenNote: r.TakenNote}
}

const sqlInsertWatch = `-- insert_watch
insert into watch (watch_id, person_id, visit_id, place, note, back_by, started_at, started_by)
values (@watch_id, @person_id, @visit_id, @place, @note, @back_by, @started_at, @started_by) on conflict do nothing`

// InsertWatch adds a watch, or answers false when the id is taken.
func (t *Tx) InsertWatch(ctx context.Context, w fleet.Watch) (bool, error) {
	n, err := exec(ctx, t, "insert_watch", sqlInsertWatch, pgx.StrictNamedArgs{"watch_id": w.WatchID, "person_id": w.PersonID, "visit_id": optional(w.VisitID), "place": w.Place,
		"note": w.Note, "back_by": w.BackBy, "started_at": w.StartedAt, "started_by": w.StartedBy})
	return n == 1, err
}

const sqlWatchByID = `-- watch_by_id
select watch_id, person_id, visit_id, place, note, back_by, first_back_by, started_at, started_by, ended_at, taken_at, taken_by, taken_note from watch_now where watch_id = @watch_id`

// WatchByID gives one watch as it stands.
func (t *Tx) WatchByID(ctx context.Context, id uuid.UUID) (fleet.Watch, error) {
	r, err := queryOne[watchRow](ctx, t, "watch_by_id", sqlWatchByID, pgx.StrictNamedArgs{"watch_id": id}, "watch_not_found")
	return r.watch(), err
}

const sqlHoldWatch = `-- hold_watch
select watch_id from watch where watch_id = @watch_id for update`

// HoldWatch keeps a watch from being changed by others.
func (t *Tx) HoldWatch(ctx context.Context, id uuid.UUID) error {
	_, err := queryOne[struct{ WatchID uuid.UUID }](ctx, t, "hold_watch", sqlHoldWatch, pgx.StrictNamedArgs{"watch_id": id}, "watch_not_found")
	return err
}

const sqlWatchesOpen = `-- watches_open
select watch_id, person_id, visit_id, place, note, back_by, first_back_by, started_at, started_by, ended_at, taken_at, taken_by, taken_note
from watch_now where ended_at is null order by back_by, watch_id limit 1000`

// WatchesOpen gives those of people who are not back, the latest first.
func (t *Tx) WatchesOpen(ctx context.Context) ([]fleet.Watch, error) {
	rows, err := query[watchRow](ctx, t, "watches_open", sqlWatchesOpen, nil)
	return each(rows, watchRow.watch), err
}

type watchEventRow struct {
	WatchID    uuid.UUID
	EventID    uuid.UUID
	Kind       string
	BackBy     *time.Time
	Note       string
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

func (r watchEventRow) event() fleet.WatchEvent { return fleet.WatchEvent(r) }

const sqlWatchEvents = `-- watch_events
select watch_id, event_id, kind, back_by, note, recorded_at, recorded_by from watch_event where watch_id = @watch_id order by recorded_at, event_id`

// WatchEvents gives what came of a watch, oldest first.
func (t *Tx) WatchEvents(ctx context.Context, id uuid.UUID) ([]fleet.WatchEvent, error) {
	rows, err := query[watchEventRow](ctx, t, "watch_events", sqlWatchEvents, pgx.StrictNamedArgs{"watch_id": id})
	return each(rows, watchEventRow.event), err
}

const sqlInsertWatchEvent = `-- insert_watch_event
insert into watch_event (watch_id, event_id, kind, back_by, note, recorded_at, recorded_by)
values (@watch_id, @event_id, @kind, @back_by, @note, @recorded_at, @recorded_by) on conflict do nothing`

// InsertWatchEvent adds what came of a watch, or answers false when the id is taken.
func (t *Tx) InsertWatchEvent(ctx context.Context, e fleet.WatchEvent) (bool, error) {
	n, err := exec(ctx, t, "insert_watch_event", sqlInsertWatchEvent, pgx.StrictNamedArgs{"watch_id": e.WatchID, "event_id": e.EventID, "kind": e.Kind, "back_by": e.BackBy,
		"note": e.Note, "recorded_at": e.RecordedAt, "recorded_by": e.RecordedBy})
	return n == 1, err
}

const sqlEndWatch = `-- end_watch
update watch set ended_at = @at where watch_id = @watch_id and ended_at is null`

// EndWatch marks a watch as ended.
func (t *Tx) EndWatch(ctx context.Context, id uuid.UUID, at time.Time) error {
	_, err := exec(ctx, t, "end_watch", sqlEndWatch, pgx.StrictNamedArgs{"watch_id": id, "at": at})
	return err
}
