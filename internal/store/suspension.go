package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type suspensionEventRow struct {
	CustomerID   uuid.UUID
	SiteID       uuid.UUID
	DoorID       uuid.UUID
	PlanID       uuid.UUID
	EventID      uuid.UUID
	SuspensionID uuid.UUID
	Kind         string
	FromOn       time.Time
	UntilOn      *time.Time
	Reason       string
	Why          string
	RecordedAt   time.Time
	RecordedBy   uuid.UUID
}

func (r suspensionEventRow) event() fleet.SuspensionEvent {
	return fleet.SuspensionEvent{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, PlanID: r.PlanID, EventID: r.EventID, SuspensionID: r.SuspensionID,
		Kind: r.Kind, FromOn: day(&r.FromOn), UntilOn: day(r.UntilOn), Reason: r.Reason, Why: r.Why, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

const sqlSuspensionEvents = `-- suspension_events
select customer_id, site_id, door_id, plan_id, event_id, suspension_id, kind, from_on, until_on, reason, why, recorded_at, recorded_by
from plan_suspension_event where plan_id = @plan_id order by recorded_at, event_id`

// SuspensionEvents gives what was said of the suspensions of a plan.
func (t *Tx) SuspensionEvents(ctx context.Context, planID uuid.UUID) ([]fleet.SuspensionEvent, error) {
	rows, err := query[suspensionEventRow](ctx, t, "suspension_events", sqlSuspensionEvents, pgx.StrictNamedArgs{"plan_id": planID})
	return each(rows, suspensionEventRow.event), err
}

const sqlInsertSuspensionEvent = `-- insert_suspension_event
insert into plan_suspension_event (customer_id, site_id, door_id, plan_id, event_id, suspension_id, kind, from_on, until_on, reason, why, recorded_at, recorded_by)
values (@customer_id, @site_id, @door_id, @plan_id, @event_id, @suspension_id, @kind, @from_on, @until_on, @reason, @why, @recorded_at, @recorded_by)
on conflict (event_id) do nothing`

// InsertSuspensionEvent keeps what was said, or answers false when the id is taken.
func (t *Tx) InsertSuspensionEvent(ctx context.Context, e fleet.SuspensionEvent) (bool, error) {
	return insertOne(ctx, t, "insert_suspension_event", sqlInsertSuspensionEvent, pgx.StrictNamedArgs{"customer_id": e.CustomerID, "site_id": e.SiteID, "door_id": e.DoorID,
		"plan_id": e.PlanID, "event_id": e.EventID, "suspension_id": e.SuspensionID, "kind": e.Kind, "from_on": date(e.FromOn), "until_on": date(e.UntilOn),
		"reason": e.Reason, "why": e.Why, "recorded_at": e.RecordedAt, "recorded_by": e.RecordedBy})
}

const sqlSetSuspended = `-- set_suspended
update inspection_plan set suspended = @suspended where plan_id = @plan_id`

// SetSuspended writes the days that the suspensions of a plan come to.
func (t *Tx) SetSuspended(ctx context.Context, planID uuid.UUID, spans []duedate.Span) error {
	_, err := exec(ctx, t, "set_suspended", sqlSetSuspended, pgx.StrictNamedArgs{"plan_id": planID, "suspended": pairs(spans)})
	return err
}
