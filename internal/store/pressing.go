package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type passedDayRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	FindingID  uuid.UUID
	What       string
	Day        time.Time
}

func (r passedDayRow) passed() fleet.PassedDay {
	return fleet.PassedDay{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, FindingID: r.FindingID, What: r.What, Day: day(&r.Day)}
}

const sqlPassedDays = `-- passed_days
select f.customer_id, f.site_id, f.door_id, f.finding_id, p.what, p.day
from finding f join site s on s.site_id = f.site_id
cross join lateral (values ('danger', f.safe_until),
  ('deferral_over', case when f.decided ->> 'decision' = 'deferred' then (f.decided ->> 'until')::date end)) as p (what, day)
where f.state = 'open' and (f.safe_until is not null or f.decided is not null) and p.day < (@now at time zone s.time_zone)::date
  and not exists (select from notice n where n.reason = 'finding:' || f.finding_id and n.rung = p.what and n.due_on = p.day)
order by f.finding_id, p.what limit @limit
for share of f`

// PassedDays gives open findings of which a day has passed at the site and of which the office was not told. They are held,
// so that none is closed between this reading and the notices that it leads to.
func (t *Tx) PassedDays(ctx context.Context, now time.Time, limit int) ([]fleet.PassedDay, error) {
	rows, err := query[passedDayRow](ctx, t, "passed_days", sqlPassedDays, pgx.StrictNamedArgs{"now": now, "limit": limit})
	return each(rows, passedDayRow.passed), err
}
