package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

const sqlFieldPointsOfDoor = `-- field_points_of_door
select r.component_id, r.revision_id, r.standing, r.effective_at, x.area_m2, x.width_m, x.depth_m
from revision r left join lateral (
  select area_m2, width_m, depth_m from extent x where x.revision_id = r.revision_id order by x.computed_at desc limit 1) x on true
where r.door_id = @door_id and r.standing <> 'intended'
  and coalesce((select false from visit_entry e where e.corrects = r.revision_id and e.door_id = r.door_id
    and (e.observed_at, e.entry_id) > (r.effective_at, r.revision_id) limit 1), true)
order by r.component_id, r.effective_at, r.revision_id`

type fieldPointRow struct {
	ComponentID uuid.UUID
	RevisionID  uuid.UUID
	Standing    string
	EffectiveAt time.Time
	AreaM2      *float64 `db:"area_m2"`
	WidthM      *float64
	DepthM      *float64
}

// FieldPointsOfDoor gives what the recorded revisions of every device of a door watched.
func (t *Tx) FieldPointsOfDoor(ctx context.Context, doorID uuid.UUID) ([]fleet.FieldPoint, error) {
	rows, err := query[fieldPointRow](ctx, t, "field_points_of_door", sqlFieldPointsOfDoor, pgx.StrictNamedArgs{"door_id": doorID})
	return each(rows, func(r fieldPointRow) fleet.FieldPoint { return fleet.FieldPoint(r) }), err
}

const sqlPutCrossings = `-- put_crossings
with expected as (
  select c.* from jsonb_to_recordset(@crossings) as c (reading text, leaf integer, side text, unit text, bound double precision, at_most boolean, advice boolean,
    per_year double precision, last_on date, last_value double precision, earliest_on date, likely_on date, latest_on date, computed_at timestamptz)),
over as (
  update expected_crossing p set likely_on = null, latest_on = null
  where p.door_id = @door_id and p.likely_on is not null
    and not exists (select from expected c where c.reading = p.reading and c.leaf = p.leaf and c.side = p.side))
insert into expected_crossing (customer_id, site_id, door_id, reading, leaf, side, unit, bound, at_most, advice, per_year, last_on, last_value, earliest_on, likely_on, latest_on, computed_at)
select d.customer_id, d.site_id, d.door_id, c.reading, c.leaf, c.side, c.unit, c.bound, c.at_most, c.advice, c.per_year, c.last_on, c.last_value, c.earliest_on, c.likely_on, c.latest_on, c.computed_at
from door d cross join expected c
where d.door_id = @door_id
on conflict (customer_id, site_id, door_id, reading, leaf, side) do update set
  unit = excluded.unit, bound = excluded.bound, at_most = excluded.at_most, advice = excluded.advice, per_year = excluded.per_year, last_on = excluded.last_on,
  last_value = excluded.last_value, earliest_on = excluded.earliest_on, likely_on = excluded.likely_on, latest_on = excluded.latest_on, computed_at = excluded.computed_at`

// PutCrossings writes the expected crossings of a door, and of the others of it that nothing is expected any more.
func (t *Tx) PutCrossings(ctx context.Context, doorID uuid.UUID, list []fleet.ExpectedCrossing) error {
	_, err := exec(ctx, t, "put_crossings", sqlPutCrossings, pgx.StrictNamedArgs{"door_id": doorID, "crossings": list})
	return err
}

type crossingRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	Reading    string
	Leaf       int
	Side       string
	Unit       string
	Bound      float64
	AtMost     bool
	Advice     bool
	PerYear    float64
	LastOn     time.Time
	LastValue  float64
	EarliestOn time.Time
	LikelyOn   time.Time
	LatestOn   *time.Time
	ComputedAt time.Time
	DoorName   string
	SiteName   string
	Tag        string
}

func (r crossingRow) crossing() fleet.ExpectedCrossing {
	return fleet.ExpectedCrossing{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, Reading: r.Reading, Leaf: r.Leaf, Side: r.Side, Unit: r.Unit,
		Bound: r.Bound, AtMost: r.AtMost, Advice: r.Advice, PerYear: r.PerYear, LastOn: day(&r.LastOn), LastValue: r.LastValue,
		EarliestOn: day(&r.EarliestOn), LikelyOn: day(&r.LikelyOn), LatestOn: day(r.LatestOn), ComputedAt: r.ComputedAt,
		DoorName: r.DoorName, SiteName: r.SiteName, Tag: fleet.Tag(r.Tag)}
}

const sqlCrossingPage = `-- crossing_page
select c.customer_id, c.site_id, c.door_id, c.reading, c.leaf, c.side, c.unit, c.bound, c.at_most, c.advice, c.per_year, c.last_on, c.last_value,
  c.earliest_on, c.likely_on, c.latest_on, c.computed_at, d.name as door_name, s.name as site_name, d.tag
from expected_crossing c join door d on d.door_id = c.door_id join site s on s.site_id = c.site_id
where c.likely_on is not null and c.likely_on <= @until and (@site_id::uuid is null or c.site_id = @site_id)
  and (c.likely_on, c.door_id, c.reading, c.leaf, c.side) > (coalesce(@after_likely::date, '0001-01-01'), @after_door, @after_reading, @after_leaf, @after_side)
order by c.likely_on, c.door_id, c.reading, c.leaf, c.side limit @limit`

// CrossingPage lists expected crossings, the next first.
func (t *Tx) CrossingPage(ctx context.Context, q fleet.CrossingQuery) ([]fleet.ExpectedCrossing, error) {
	rows, err := query[crossingRow](ctx, t, "crossing_page", sqlCrossingPage, pgx.StrictNamedArgs{"until": date(q.Until), "site_id": optional(q.SiteID),
		"after_likely": date(q.After.Likely), "after_door": q.After.DoorID, "after_reading": q.After.Reading, "after_leaf": q.After.Leaf, "after_side": q.After.Side, "limit": q.Limit})
	return each(rows, crossingRow.crossing), err
}
