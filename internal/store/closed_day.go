package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type closedDayRow struct {
	ClosedDayID uuid.UUID
	CustomerID  *uuid.UUID
	SiteID      *uuid.UUID
	Place       string
	FromOn      time.Time
	UntilOn     time.Time
	Name        string
	Cancelled   bool
	Version     int
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
}

func (r closedDayRow) closedDay() fleet.ClosedDay {
	return fleet.ClosedDay{ClosedDayID: r.ClosedDayID, CustomerID: r.CustomerID, SiteID: r.SiteID, Place: r.Place, Span: duedate.Span{From: day(&r.FromOn), Until: day(&r.UntilOn)},
		Name: r.Name, Cancelled: r.Cancelled, Version: r.Version, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

const sqlClosedDayByID = `-- closed_day_by_id
select closed_day_id, customer_id, site_id, place, from_on, until_on, name, cancelled, version, recorded_at, recorded_by from closed_day where closed_day_id = @closed_day_id`

// ClosedDayByID gives one entry.
func (t *Tx) ClosedDayByID(ctx context.Context, id uuid.UUID) (fleet.ClosedDay, error) {
	r, err := queryOne[closedDayRow](ctx, t, "closed_day_by_id", sqlClosedDayByID, pgx.StrictNamedArgs{"closed_day_id": id}, "closed_day_not_found")
	return r.closedDay(), err
}

const sqlClosedDayPage = `-- closed_day_page
select c.closed_day_id, c.customer_id, c.site_id, c.place, c.from_on, c.until_on, c.name, c.cancelled, c.version, c.recorded_at, c.recorded_by
from closed_day c
where not c.cancelled and (c.from_on, c.closed_day_id) > (@after_day, @after_id)
  and (@from_on::date is null or c.until_on >= @from_on) and (@until_on::date is null or c.from_on <= @until_on)
  and (@customer_id::uuid is null or c.customer_id = @customer_id) and (not @public or c.customer_id is null)
  and (@site_id::uuid is null or exists (select from site s where s.site_id = @site_id
    and (c.site_id = s.site_id or c.site_id is null and (c.customer_id = s.customer_id or c.customer_id is null and c.place in ('', s.country, s.jurisdiction)))))
order by c.from_on, c.closed_day_id limit @limit`

// ClosedDayPage lists what holds, by first days.
func (t *Tx) ClosedDayPage(ctx context.Context, q fleet.ClosedDayQuery) ([]fleet.ClosedDay, error) {
	rows, err := query[closedDayRow](ctx, t, "closed_day_page", sqlClosedDayPage, pgx.StrictNamedArgs{"after_day": fromDay(q.AfterDay), "after_id": q.AfterID, "from_on": date(q.From), "until_on": date(q.Until),
		"customer_id": optional(q.CustomerID), "public": q.Public, "site_id": optional(q.SiteID), "limit": orNull(q.Limit)})
	return each(rows, closedDayRow.closedDay), err
}

const sqlInsertClosedDay = `-- insert_closed_day
insert into closed_day (closed_day_id, customer_id, site_id, place, from_on, until_on, name, cancelled, version, recorded_at, recorded_by)
values (@closed_day_id, @customer_id, @site_id, @place, @from_on, @until_on, @name, @cancelled, @version, @recorded_at, @recorded_by)
on conflict (closed_day_id) do nothing`

// InsertClosedDay adds an entry, or answers false when the id is taken.
func (t *Tx) InsertClosedDay(ctx context.Context, c fleet.ClosedDay) (bool, error) {
	return insertOne(ctx, t, "insert_closed_day", sqlInsertClosedDay, closedDayArgs(c))
}

const sqlUpdateClosedDay = `-- update_closed_day
update closed_day set customer_id = @customer_id, site_id = @site_id, place = @place, from_on = @from_on, until_on = @until_on, name = @name, cancelled = @cancelled,
  version = @version, recorded_at = @recorded_at, recorded_by = @recorded_by
where closed_day_id = @closed_day_id and version = @version - 1`

// UpdateClosedDay writes the next version of an entry.
func (t *Tx) UpdateClosedDay(ctx context.Context, c fleet.ClosedDay) error {
	return expectOne(exec(ctx, t, "update_closed_day", sqlUpdateClosedDay, closedDayArgs(c)))
}

func closedDayArgs(c fleet.ClosedDay) pgx.StrictNamedArgs {
	return pgx.StrictNamedArgs{"closed_day_id": c.ClosedDayID, "customer_id": c.CustomerID, "site_id": c.SiteID, "place": c.Place, "from_on": date(c.From), "until_on": date(c.Until),
		"name": c.Name, "cancelled": c.Cancelled, "version": c.Version, "recorded_at": c.RecordedAt, "recorded_by": c.RecordedBy}
}
